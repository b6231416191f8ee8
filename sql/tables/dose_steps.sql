-- question: What dose did each step of a dose ladder have, and what cake and capture did it give?
-- unit: in the names
-- grain: line, step: the steps of which a day is touched
-- formula: totals over valid minutes after the washout; means of the samples taken after it, or spread over days that lie in the step
-- source: common practice, no source: one residence time is dropped, 30 valid minutes needed
-- known limits: a step spans 24 h at most; cake and filtrate of a step rest on few grabs
CREATE OR REPLACE TABLE work.dose_steps AS
WITH step AS (
  SELECT *, start_utc + to_microseconds((washout_min * 60e6)::BIGINT) AS settled_utc FROM ladder_steps
  WHERE EXISTS (SELECT 1 FROM work.touched_days t WHERE t.operating_day BETWEEN ladder_steps.first_day AND ladder_steps.last_day)
    AND first_day <= (SELECT max(operating_day) FROM minutes) AND last_day >= (SELECT min(operating_day) FROM minutes)
), minute AS (
  SELECT s.start_utc, k.* FROM step s
  JOIN work.minute_kpi k ON k.line = s.line
    AND k.operating_day BETWEEN s.first_day AND s.last_day
    AND k.minute_utc >= s.settled_utc
    AND k.minute_utc < s.end_utc
  WHERE k.is_dosed
  ORDER BY k.line, k.minute_utc
), total AS (
  SELECT
    line,
    start_utc,
    count(*)::INTEGER AS valid_minutes,
    sum(dry_solids_t) AS dry_solids_t,
    sum(polymer_active_kg) AS polymer_active_kg,
    100.0 * ratio_or_null(sum(dry_solids_t), sum(dosed_mass_t)) AS feed_ts_pct,
    ratio_or_null(sum(dilution_m3), sum(feed_volume_m3) FILTER (dilution_m3 IS NOT NULL)) AS dilution_ratio,
    ratio_or_null(sum(mixing_dp_kpa * mixing_feed_m3), sum(mixing_feed_m3)) AS mixing_energy_kj_m3
  FROM minute GROUP BY line, start_utc
), sample AS (
  SELECT s.line, s.start_utc,
    avg(l.value ORDER BY l.from_utc, l.sample_id) FILTER (l.point = 'cake') AS cake_ts_pct,
    count(*) FILTER (l.point = 'cake')::INTEGER AS cake_samples,
    avg(l.value ORDER BY l.from_utc, l.sample_id) FILTER (l.point = 'filtrate') AS filtrate_tss_mg_l,
    count(*) FILTER (l.point = 'filtrate')::INTEGER AS filtrate_samples
  FROM step s
  JOIN lab_results l ON l.line = s.line
    AND l.operating_day BETWEEN s.first_day AND s.last_day
    AND l.is_used
    AND l.value IS NOT NULL
    AND (l.point, l.analyte) IN (('cake', 'ts'), ('filtrate', 'tss'))
    AND l.from_utc >= CASE l.time_basis WHEN 'day' THEN s.start_utc ELSE s.settled_utc END
    AND CASE l.time_basis WHEN 'stated' THEN l.from_utc < s.end_utc ELSE l.to_utc <= s.end_utc END
  GROUP BY s.line, s.start_utc
), version AS (
  SELECT s.line, s.start_utc,
    substr(md5(coalesce(string_agg(DISTINCT l.load_id, '' ORDER BY l.load_id), '') || (SELECT plant_file_id FROM work.plant_file)), 1, 12) AS data_version
  FROM step s LEFT JOIN load_days l ON l.operating_day BETWEEN s.first_day AND s.last_day GROUP BY ALL
)
SELECT s.plant, s.line, s.ladder, s.step_no, s.start_utc, s.end_utc, s.first_day, s.last_day, s.washout_min,
  coalesce(t.valid_minutes, 0) AS valid_minutes, t.dry_solids_t, t.polymer_active_kg,
  CASE WHEN t.valid_minutes >= 30 THEN ratio_or_null(t.polymer_active_kg, t.dry_solids_t) END AS dose_active_kg_t,
  t.feed_ts_pct,
  p.cake_ts_pct,
  coalesce(p.cake_samples, 0) AS cake_samples,
  p.filtrate_tss_mg_l,
  coalesce(p.filtrate_samples, 0) AS filtrate_samples,
  t.dilution_ratio,
  capture_pct(t.feed_ts_pct, p.cake_ts_pct, p.filtrate_tss_mg_l, t.dilution_ratio) AS capture_pct,
  capture_pct(t.feed_ts_pct, p.cake_ts_pct, p.filtrate_tss_mg_l, 0.0) AS capture_undiluted_pct,
  t.mixing_energy_kj_m3,
  CASE
    WHEN coalesce(t.valid_minutes, 0) < 30 THEN format('{} valid minutes after the washout, 30 needed', coalesce(t.valid_minutes, 0))
    WHEN p.cake_ts_pct IS NULL THEN 'no cake sample after the washout' END AS step_reason,
  v.data_version
FROM step s
LEFT JOIN total t ON t.line = s.line AND t.start_utc = s.start_utc
LEFT JOIN sample p ON p.line = s.line AND p.start_utc = s.start_utc
LEFT JOIN version v ON v.line = s.line AND v.start_utc = s.start_utc
ORDER BY s.line, s.start_utc;
