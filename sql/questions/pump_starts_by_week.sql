-- question: How often did each feed pump start, and how long did it run dry?
-- explains: per reporting week; many starts for the hours run point at level control or trips
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first day of the first week
SELECT plant, pump, week_start_day, run_h, starts, ratio_or_null(starts, run_h) AS starts_per_run_h, dry_run_minutes
FROM pump_condition WHERE week_start_day >= $since AND ($plant IS NULL OR plant = $plant)
ORDER BY plant, pump, week_start_day;
