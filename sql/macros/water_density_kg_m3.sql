-- question: How dense is water at a temperature?
-- unit: kg/m3
-- formula: ratio of a fifth-degree polynomial to 1 + 0.01687985 t
-- source: Kell, J. Chem. Eng. Data 20 (1975) 97-105 [coefficients from memory; within 0.01 % of IAPWS-95 from 0 to 80 C, see tests/published/water_props.json]
-- known limits: clean water at 101 kPa; null outside 0-100 C; sludge is denser
-- example: water_density_kg_m3(20) = 998.2041322
CREATE OR REPLACE MACRO water_density_kg_m3(t_c) AS
    CASE
        WHEN t_c BETWEEN 0 AND 100
        THEN (999.83952e0 + t_c * (16.945176e0 + t_c * (-7.9870401e-3 + t_c * (-46.170461e-6 + t_c * (105.56302e-9 - t_c * 280.54253e-12)))))
            / (1 + 16.879850e-3 * t_c)
    END;
