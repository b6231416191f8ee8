-- question: How much shear in all does the mixing point give (nominal Gt)?
-- unit: -
-- formula: Gt = G t = sqrt(dp t / mu), t = V / Q
-- source: trade textbooks [from memory]
-- known limits: as velocity_gradient_1_s
-- example: camp_number(1, 1, 10, 36) = 1000
CREATE OR REPLACE MACRO camp_number(dp_kpa, viscosity_mpa_s, volume_l, q_m3_h) AS
    CASE
        WHEN dp_kpa >= 0 AND viscosity_mpa_s > 0 AND volume_l > 0 AND q_m3_h > 0
        THEN sqrt(dp_kpa * 1e6 * (3.6e0 * volume_l / q_m3_h) / viscosity_mpa_s)
    END;
