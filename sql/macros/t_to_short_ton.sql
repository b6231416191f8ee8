-- question: What is a mass in short tons?
-- unit: short ton
-- formula: 1 short ton = 2000 lb = 0.90718474 t
-- source: unit definition (exact)
-- known limits: none
-- example: t_to_short_ton(9.0718474) = 10
CREATE OR REPLACE MACRO t_to_short_ton(t) AS
    t / 0.90718474e0;
