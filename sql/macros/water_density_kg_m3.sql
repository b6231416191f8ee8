-- question: Which density has water?
-- unit: kg/m3
-- formula: Kell polynomial in t
-- source: Kell 1975, J. Chem. Eng. Data 20(1) 97, coefficients from memory, held against IAPWS in the tests
-- known limits: 0 to 100 C at atmospheric pressure
CREATE OR REPLACE MACRO water_density_kg_m3(t_c) AS
  (999.83952 + 16.945176 * t_c - 7.9870401e-3 * pow(t_c, 2) - 46.170461e-6 * pow(t_c, 3)
    + 105.56302e-9 * pow(t_c, 4) - 280.54253e-12 * pow(t_c, 5)) / (1.0 + 16.879850e-3 * t_c);
