-- question: How much does the capture of a day or week depend on what non-detects of the filtrate count?
-- unit: mg/L and %
-- grain: plant, line, kind of period (day, week) and its first day
-- formula: capture_pct with the day's filtrate means at 0, half (as in kpi_day) and the limit; weeks weight the days by dry solids
-- source: common practice, no source
-- known limits: days with a capture only; the higher the filtrate counts, the lower the capture, so the columns bracket it
CREATE OR REPLACE VIEW capture_nondetects AS
WITH filtrate AS (
  SELECT plant, line, operating_day, count(*) AS samples, count(*) FILTER (detection_limit IS NOT NULL) AS non_detects,
    avg(coalesce(value_at_zero, value) ORDER BY from_utc, sample_id) AS at_zero_mg_l,
    avg(value ORDER BY from_utc, sample_id) AS at_half_mg_l,
    avg(coalesce(value_at_limit, value) ORDER BY from_utc, sample_id) AS at_limit_mg_l
  FROM lab_results WHERE is_used AND value IS NOT NULL AND point = 'filtrate' AND analyte = 'tss'
  GROUP BY ALL
), day AS (
  SELECT k.plant, k.line, k.operating_day, k.dry_solids_t, f.* EXCLUDE (plant, line, operating_day),
    capture_pct(k.feed_ts_pct, k.cake_ts_pct, f.at_zero_mg_l, k.dilution_ratio) AS at_zero_pct,
    k.capture_pct AS at_half_pct,
    capture_pct(k.feed_ts_pct, k.cake_ts_pct, f.at_limit_mg_l, k.dilution_ratio) AS at_limit_pct,
    unnest([
      {'kind': 'day', 'first_day': k.operating_day},
      {'kind': 'week', 'first_day': (k.operating_day - ((isodow(k.operating_day) - s.week_start + 7) % 7)::INTEGER)::DATE}]) AS period
  FROM kpi_day k
  JOIN filtrate f USING (plant, line, operating_day)
  JOIN line_settings s ON s.plant = k.plant AND s.line = k.line
  WHERE k.capture_pct IS NOT NULL AND k.dry_solids_t > 0
)
SELECT
  plant,
  line,
  period.kind AS period_kind,
  period.first_day AS period_start_day,
  sum(samples)::INTEGER AS filtrate_samples,
  sum(non_detects)::INTEGER AS non_detects, sum(dry_solids_t ORDER BY operating_day) AS dry_solids_t,
  sum(at_zero_mg_l * dry_solids_t ORDER BY operating_day) / sum(dry_solids_t ORDER BY operating_day) AS filtrate_tss_at_zero_mg_l,
  sum(at_half_mg_l * dry_solids_t ORDER BY operating_day) / sum(dry_solids_t ORDER BY operating_day) AS filtrate_tss_at_half_mg_l,
  sum(at_limit_mg_l * dry_solids_t ORDER BY operating_day) / sum(dry_solids_t ORDER BY operating_day) AS filtrate_tss_at_limit_mg_l,
  sum(at_zero_pct * dry_solids_t ORDER BY operating_day) / sum(dry_solids_t ORDER BY operating_day) AS capture_at_zero_pct,
  sum(at_half_pct * dry_solids_t ORDER BY operating_day) / sum(dry_solids_t ORDER BY operating_day) AS capture_at_half_pct,
  CASE WHEN bool_and(at_limit_pct IS NOT NULL)
    THEN sum(at_limit_pct * dry_solids_t ORDER BY operating_day) / sum(dry_solids_t ORDER BY operating_day) END AS capture_at_limit_pct
FROM day
GROUP BY plant, line, period
ORDER BY ALL;
