-- question: Which signals were frozen, clipped, set-points, held values, off at zero, late or stuck, and on how many days?
-- explains: from signal_marks; offset and lag are the largest in size of the period, the register's share the farthest from one
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT plant, line, role, count(*) AS days, sum(frozen_minutes) AS frozen_minutes, sum(clipped_minutes) AS clipped_minutes,
  count(*) FILTER (is_setpoint_like) AS setpoint_days, count(*) FILTER (is_resampled) AS resampled_days,
  max(abs(zero_offset_share)) AS zero_offset_share, sum(negative_m3) AS negative_m3,
  arg_max(run_flow_lag_s, abs(run_flow_lag_s)) AS run_flow_lag_s, sum(stuck_minutes) AS stuck_minutes,
  arg_max(register_ratio, abs(register_ratio - 1)) AS register_ratio
FROM signal_marks WHERE operating_day >= $since AND ($plant IS NULL OR plant = $plant)
GROUP BY plant, line, role
HAVING sum(frozen_minutes) + sum(clipped_minutes) + sum(stuck_minutes) + count(*) FILTER (is_setpoint_like OR is_resampled) > 0
  OR max(abs(zero_offset_share)) > 0.01 OR sum(negative_m3) > 0 OR max(abs(run_flow_lag_s)) > 60 OR max(abs(register_ratio - 1)) > 0.03
ORDER BY plant, line, role;
