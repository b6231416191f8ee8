-- question: How does the dose differ by crew and day of the week?
-- explains: crew letters come from the lab sheet; a sample of a shift stands for its shift, any other for its day; not adjusted for feed solids, which stand beside
-- param plant text = alder-fork: plant id
WITH crew AS (
  SELECT DISTINCT plant, line, operating_day, crew, time_basis = 'shift' AS is_shift, CASE WHEN is_shift THEN from_utc END AS from_utc, CASE WHEN is_shift THEN to_utc END AS to_utc
  FROM lab_results WHERE crew IS NOT NULL
), worked AS (
  SELECT d.line, c.crew, d.operating_day, d.polymer_active_kg, d.dry_solids_t, d.feed_ts_pct, d.dose_active_kg_t
  FROM kpi_day d JOIN crew c USING (plant, line, operating_day) WHERE d.plant = $plant AND NOT c.is_shift
  UNION ALL
  SELECT s.line, c.crew, s.operating_day, s.polymer_active_kg, s.dry_solids_t, s.feed_ts_pct, s.dose_active_kg_t
  FROM kpi_shift s JOIN crew c USING (plant, line, operating_day)
  WHERE s.plant = $plant AND c.is_shift AND c.from_utc >= s.period_start_utc AND c.to_utc <= s.period_end_utc
)
SELECT line, crew, dayname(operating_day) AS weekday, count(*) AS days,
  kg_t_to_lb_dt(ratio_or_null(sum(polymer_active_kg), sum(dry_solids_t))) AS dose_lb_active_per_dry_ton, avg(feed_ts_pct) AS feed_ts_pct
FROM worked
WHERE dose_active_kg_t IS NOT NULL
GROUP BY ALL ORDER BY line, crew, weekday;
