-- question: How much are m3/h in US gallons per hour?
-- unit: gph
-- formula: x / 0.003785411784
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO m3_h_to_gph(x) AS
  x / 0.003785411784;
