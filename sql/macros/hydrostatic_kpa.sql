-- question: Which pressure does a height of sludge make?
-- unit: kPa
-- formula: SG x 1000 x 9.80665 x dz / 1000
-- source: definition; standard gravity
-- known limits: none
CREATE OR REPLACE MACRO hydrostatic_kpa(dz_m, sg) AS
  sg * 9.80665 * dz_m;
