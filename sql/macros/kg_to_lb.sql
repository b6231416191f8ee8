-- question: How much are kilograms in pounds?
-- unit: lb
-- formula: x / 0.45359237
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO kg_to_lb(x) AS
  x / 0.45359237;
