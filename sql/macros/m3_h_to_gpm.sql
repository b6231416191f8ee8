-- question: How much are m3/h in US gallons per minute?
-- unit: gpm
-- formula: x / (0.003785411784 * 60.0)
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO m3_h_to_gpm(x) AS
  x / (0.003785411784 * 60.0);
