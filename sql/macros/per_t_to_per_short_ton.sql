-- question: How much are an amount per tonne as an amount per short ton?
-- unit: per short ton
-- formula: x * 0.90718474
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO per_t_to_per_short_ton(x) AS
  x * 0.90718474;
