-- question: What energy does each volume of sludge receive at the mixing point?
-- unit: kJ/m3
-- formula: e = dp (1 kPa = 1 kJ/m3)
-- source: unit identity
-- known limits: says nothing about the time in which it is spent
-- example: mixing_energy_kj_m3(206.8) = 206.8
CREATE OR REPLACE MACRO mixing_energy_kj_m3(dp_kpa) AS
    dp_kpa * 1e0;
