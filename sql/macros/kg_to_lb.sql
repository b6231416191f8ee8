-- question: What is a mass in pounds?
-- unit: lb
-- formula: 1 lb = 0.45359237 kg
-- source: unit definition (exact)
-- known limits: none
-- example: kg_to_lb(45.359237) = 100
CREATE OR REPLACE MACRO kg_to_lb(kg) AS
    kg / 0.45359237e0;
