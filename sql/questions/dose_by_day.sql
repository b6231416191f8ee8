-- question: What was the active dose on each operating day, with tons and valid minutes?
-- explains: ratio of totals over valid processing minutes; null with a reason where a gate refuses it
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT plant, line, operating_day, kg_t_to_lb_dt(dose_active_kg_t) AS dose_lb_active_per_dry_ton, dose_active_kg_t, dose_reason, dry_solids_t,
  t_to_short_ton(dry_solids_t) AS dry_short_tons, valid_minutes, is_provisional
FROM kpi_day
WHERE operating_day >= $since AND ($plant IS NULL OR plant = $plant) AND processing_minutes > 0
ORDER BY plant, line, operating_day;
