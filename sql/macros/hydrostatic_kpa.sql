-- question: What pressure does a column of liquid weigh?
-- unit: kPa
-- formula: p = g x SG x dz, with 1000 kg/m3 and g = 9.80665 m/s2
-- source: hydrostatics; g is the standard value
-- known limits: the line between gauge and tap must be full of liquid of that SG
-- example: hydrostatic_kpa(10, 1) = 98.0665
CREATE OR REPLACE MACRO hydrostatic_kpa(dz_m, sg) AS
    9.80665e0 * sg * dz_m;
