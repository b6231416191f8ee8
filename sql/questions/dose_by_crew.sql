-- question: How does the dose differ by crew and day of the week, adjusted for feed solids?
-- explains: crew letters come from the lab sheet of the day; adjusted to the line's mean feed TS along the line of best fit of its days
-- param plant text = alder-fork: plant id
WITH day AS (
  SELECT d.line, c.crew, dayname(d.operating_day) AS weekday, d.polymer_active_kg, d.dry_solids_t, d.dose_active_kg_t, d.feed_ts_pct,
    regr_slope(d.dose_active_kg_t, d.feed_ts_pct) OVER (PARTITION BY d.line) * (d.feed_ts_pct - avg(d.feed_ts_pct) OVER (PARTITION BY d.line)) AS due_to_ts
  FROM kpi_day d JOIN (SELECT DISTINCT plant, line, operating_day, crew FROM lab_results WHERE crew IS NOT NULL) c USING (plant, line, operating_day)
  WHERE d.plant = $plant AND d.dose_active_kg_t IS NOT NULL)
SELECT line, crew, weekday, count(*) AS days, kg_t_to_lb_dt(ratio_or_null(sum(polymer_active_kg), sum(dry_solids_t))) AS dose_lb_active_per_dry_ton,
  kg_t_to_lb_dt(sum((dose_active_kg_t - due_to_ts) * dry_solids_t) / sum(dry_solids_t)) AS adjusted_lb_active_per_dry_ton, avg(feed_ts_pct) AS feed_ts_pct
FROM day GROUP BY ALL ORDER BY line, crew, weekday;
