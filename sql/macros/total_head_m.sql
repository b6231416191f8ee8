-- question: What total head does the pump give between its two gauges?
-- unit: m of the liquid pumped
-- formula: H = dp / (g SG) + dz + (vd2 - vs2) / 2g, v = Q / (pi/4 d2), with 1000 kg/m3 and g = 9.80665 m/s2
-- source: trade textbooks [from memory]; g is the standard value
-- known limits: velocity head is left out when a pipe diameter is null; friction between the gauges is not taken out; sludge is taken as a
--         liquid of density SG
-- example: total_head_m(0, 1, 0, 36, 0.2, 0.1) = 0.0774891
CREATE OR REPLACE MACRO total_head_m(dp_kpa, sg, dz_m, q_m3_h, d_suction_m, d_discharge_m) AS
    dp_kpa / (9.80665e0 * CASE WHEN sg > 0 THEN sg END) + dz_m
    + CASE
        WHEN d_suction_m IS NULL OR d_discharge_m IS NULL THEN 0
        ELSE pow(q_m3_h / 3600e0 / (pi() / 4), 2)
            * (1 / pow(nullif(d_discharge_m, 0), 4) - 1 / pow(nullif(d_suction_m, 0), 4)) / (2 * 9.80665e0)
    END;
