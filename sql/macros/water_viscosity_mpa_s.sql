-- question: How viscous is water at a temperature?
-- unit: mPa s
-- formula: mu = sum of a (T/300)^b over four terms, T in K
-- source: IAPWS SR6-08, properties of liquid water at 0.1 MPa [coefficients from memory; within 0.01 % of IAPWS from 0 to 80 C, see tests/published/water_props.json]
-- known limits: clean water; null outside 0-100 C; conditioned sludge is many times more viscous, so G from this value is an upper bound
-- example: water_viscosity_mpa_s(20) = 1.001567265
CREATE OR REPLACE MACRO water_viscosity_mpa_s(t_c) AS
    CASE
        WHEN t_c BETWEEN 0 AND 100
        THEN 1e-3 * (
            280.68e0 * pow((t_c + 273.15e0) / 300e0, -1.9e0) + 511.45e0 * pow((t_c + 273.15e0) / 300e0, -7.7e0)
            + 61.131e0 * pow((t_c + 273.15e0) / 300e0, -19.6e0) + 0.45903e0 * pow((t_c + 273.15e0) / 300e0, -40e0)
        )
    END;
