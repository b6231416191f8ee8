-- question: How hard does the mixing point shear the sludge (nominal velocity gradient G)?
-- unit: 1/s
-- formula: G = sqrt(P / (mu V)), P = Q dp
-- source: trade textbooks [from memory]
-- known limits: nominal only: viscosity and volume are assumed and must be printed with it; not valid for flocs larger than the turbulence
--         microscale; prefer the specific energy
-- example: velocity_gradient_1_s(3.6, 1, 1000, 1) = 31.6227766
CREATE OR REPLACE MACRO velocity_gradient_1_s(dp_kpa, viscosity_mpa_s, volume_l, q_m3_h) AS
    CASE
        WHEN dp_kpa >= 0 AND viscosity_mpa_s > 0 AND volume_l > 0 AND q_m3_h > 0
        THEN sqrt(dp_kpa * q_m3_h / 3.6e0 / (viscosity_mpa_s * volume_l * 1e-6))
    END;
