-- question: What do totals of every kind of period look like side by side, ready to become KPIs?
-- unit: in the names
-- grain: line, kind of period, period (work table)
-- formula: capture of short periods from the means of their samples; of long ones as weighted before
-- source: textbook forms, from memory
-- known limits: none
CREATE OR REPLACE TABLE work.all_totals AS
SELECT t.*, p.* EXCLUDE (line, kind, operating_day, label),
  NULL::DATE AS anchor, NULL::INTEGER AS operating_days, NULL::INTEGER AS dosed_days,
  CASE s.dilution_counted WHEN 'none' THEN 0.0 WHEN 'polymer' THEN t.polymer_water_m3 ELSE t.polymer_water_m3 + t.wash_water_m3 END AS dilution_m3,
  100.0 * ratio_or_null(t.dry_solids_t, t.dosed_mass_t) AS mean_ts_pct,
  capture_pct(mean_ts_pct, p.cake_ts_pct, p.filtrate_tss_mg_l, ratio_or_null(dilution_m3, t.feed_volume_m3)) AS capture_pct,
  capture_pct(mean_ts_pct, p.cake_ts_pct, p.filtrate_tss_mg_l, 0.0) AS capture_undiluted_pct,
  wet_cake_t(1.0, capture_pct, p.cake_ts_pct) * r.disposal_per_wet_t AS cost_disposal_per_t,
  (1.0 - capture_pct / 100.0) * 1000.0 * r.recycle_per_kg AS cost_recycle_per_t,
  t.dry_solids_held_t > 0 OR (t.kind = 'day' AND t.processing_minutes > 0 AND (p.cake_samples = 0 OR p.filtrate_samples = 0)) AS is_provisional,
  v.data_version
FROM work.period_totals t
JOIN line_settings s USING (line)
JOIN work.period_product p ON p.line = t.line AND p.kind = t.kind AND p.operating_day = t.operating_day AND p.label = t.label
LEFT JOIN prices r ON t.period_start_utc >= r.from_utc AND t.period_start_utc < r.to_utc
LEFT JOIN work.day_versions v ON v.operating_day = t.operating_day;
