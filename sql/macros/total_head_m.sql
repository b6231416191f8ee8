-- question: Which head does the pump add?
-- unit: m of sludge
-- formula: (Pd - Ps)/(rho g) + dz + (vd2 - vs2)/2g
-- source: textbook formula, from memory
-- known limits: velocity head left out when a pipe diameter is unknown
CREATE OR REPLACE MACRO total_head_m(dp_kpa, sg, dz_m, q_m3_h, d_suction_m, d_discharge_m) AS
  dp_kpa / (9.80665 * sg) + dz_m
    + CASE WHEN d_suction_m IS NULL OR d_discharge_m IS NULL THEN 0.0
           ELSE (pow(q_m3_h / 3600.0 / (pi() / 4.0 * d_discharge_m * d_discharge_m), 2)
               - pow(q_m3_h / 3600.0 / (pi() / 4.0 * d_suction_m * d_suction_m), 2)) / (2.0 * 9.80665) END;
