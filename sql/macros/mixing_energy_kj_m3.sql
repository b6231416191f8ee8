-- question: How much mixing energy goes into each cubic metre?
-- unit: kJ/m3
-- formula: e = dP (1 kPa = 1 kJ/m3)
-- source: definition
-- known limits: none
CREATE OR REPLACE MACRO mixing_energy_kj_m3(dp_kpa) AS
  dp_kpa;
