-- question: Which dynamic viscosity has water?
-- unit: mPa s
-- formula: sum of a (T/300)^b over four terms, T in K
-- source: correlation for liquid water at 0.1 MPa (IAPWS SR6-08; Patek et al. 2009), coefficients from memory, held against IAPWS in the tests
-- known limits: 0 to 100 C at atmospheric pressure; water, not sludge
CREATE OR REPLACE MACRO water_viscosity_mpa_s(t_c) AS
  (280.68 * pow((t_c + 273.15) / 300.0, -1.9) + 511.45 * pow((t_c + 273.15) / 300.0, -7.7)
   + 61.131 * pow((t_c + 273.15) / 300.0, -19.6) + 0.45903 * pow((t_c + 273.15) / 300.0, -40.0)) / 1000.0;
