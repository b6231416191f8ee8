-- question: How does the dose differ by crew and day of the week, adjusted for feed solids?
-- explains: crew letters come from the lab sheet, a sample of a shift stands for its shift, any other for its day; adjusted to the line's mean feed TS along the line of best fit.
-- explains: Days since the line's last event only; half the interval (95 %, Student's t) from the scatter of the adjusted doses; cells of fewer than 5 are left
-- explains: out. Known limits: dose = A / (Q TS) shares the error of TS with the axis, which alone gives it an elasticity of minus the share of the scatter
-- explains: of TS that is error (classical errors in variables), so the adjustment takes too much; crews are not drawn by lot
-- param plant text = alder-fork: plant id
WITH crew AS (
  SELECT DISTINCT
    plant,
    line,
    operating_day,
    crew,
    CASE WHEN time_basis = 'shift' THEN from_utc END AS from_utc,
    CASE WHEN time_basis = 'shift' THEN to_utc END AS to_utc
  FROM lab_results WHERE crew IS NOT NULL AND plant = $plant
), worked AS (
  SELECT c.crew, d.line, d.operating_day, d.polymer_active_kg, d.dry_solids_t, d.dose_active_kg_t, d.feed_ts_pct
  FROM crew c
  JOIN kpi_day d USING (plant, line, operating_day)
  WHERE c.from_utc IS NULL
  UNION ALL
  SELECT c.crew, s.line, s.operating_day, s.polymer_active_kg, s.dry_solids_t, s.dose_active_kg_t, s.feed_ts_pct
  FROM crew c
  JOIN kpi_shift s ON (s.plant, s.line, s.operating_day) = (c.plant, c.line, c.operating_day)
    AND c.from_utc >= s.period_start_utc
    AND c.to_utc <= s.period_end_utc
), dosed AS (
  SELECT
    *,
    regr_slope(dose_active_kg_t, feed_ts_pct) OVER (PARTITION BY line) * (feed_ts_pct - avg(feed_ts_pct) OVER (PARTITION BY line)) AS due_to_ts
  FROM worked WHERE dose_active_kg_t IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM line_events e WHERE e.plant = $plant AND e.line = worked.line AND e.operating_day > worked.operating_day))
SELECT
  line,
  crew,
  dayname(operating_day) AS weekday,
  count(*) AS days,
  kg_t_to_lb_dt(ratio_or_null(sum(polymer_active_kg), sum(dry_solids_t))) AS dose_lb_active_per_dry_ton,
  kg_t_to_lb_dt(sum((dose_active_kg_t - due_to_ts) * dry_solids_t) / sum(dry_solids_t)) AS adjusted_lb_active_per_dry_ton,
  kg_t_to_lb_dt(t_975(count(*) - 1) * stddev_samp(dose_active_kg_t - due_to_ts) / sqrt(count(*))) AS half_interval_lb_active_per_dry_ton,
  avg(feed_ts_pct) AS feed_ts_pct
FROM dosed GROUP BY ALL HAVING count(*) >= 5 ORDER BY line, crew, weekday;
