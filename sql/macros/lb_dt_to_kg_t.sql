-- question: How much are pound per short dry ton in kg/t?
-- unit: kg/t
-- formula: x / 2.0
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO lb_dt_to_kg_t(x) AS
  x / 2.0;
