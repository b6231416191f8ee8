-- question: How much are cubic metres in US gallons?
-- unit: gal
-- formula: x / 0.003785411784
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO m3_to_gal(x) AS
  x / 0.003785411784;
