-- question: How do dose, cake and capture depend on feed solids, before and after a day?
-- explains: days in bins of 0.25 % feed TS; dose is a ratio of totals within the bin
-- param plant text = alder-fork: plant id
-- param line text = line-1: line id
-- param change date = 2026-03-03: first day of the second period
SELECT operating_day >= $change AS is_after, floor(feed_ts_pct / 0.25) * 0.25 AS feed_ts_from_pct, count(*) AS days,
  kg_t_to_lb_dt(ratio_or_null(sum(polymer_active_kg), sum(dry_solids_t))) AS dose_lb_active_per_dry_ton,
  avg(cake_ts_pct) AS cake_ts_pct, avg(capture_pct) AS capture_pct
FROM kpi_day
WHERE plant = $plant AND line = $line AND dose_active_kg_t IS NOT NULL
GROUP BY ALL ORDER BY is_after, feed_ts_from_pct;
