-- question: How much are tonnes in short tons?
-- unit: short ton
-- formula: x / 0.90718474
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO t_to_short_ton(x) AS
  x / 0.90718474;
