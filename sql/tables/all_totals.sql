-- question: What do the totals of hours, shifts, days and last hours look like beside their samples, ready to become KPIs?
-- unit: in the names
-- grain: line, kind of period, period (work table)
-- formula: capture from the means of the period's samples and the flow-weighted feed TS; disposal and recycle at the prices valid at its start
-- source: textbook forms, from memory
-- known limits: a day is provisional while feed TS is held, or while its feed, cake or filtrate sample is missing
CREATE OR REPLACE TABLE work.all_totals AS
SELECT t.*, p.* EXCLUDE (line, kind, operating_day, label),
  d.dose_quarters, d.dose_variability_pct,
  NULL::DATE AS anchor, NULL::INTEGER AS dosed_days,
  100.0 * ratio_or_null(t.dry_solids_t, t.dosed_mass_t) AS mean_ts_pct,
  capture_pct(mean_ts_pct, p.cake_ts_pct, p.filtrate_tss_mg_l, ratio_or_null(t.dilution_m3, t.diluted_feed_m3)) AS capture_pct,
  capture_pct(mean_ts_pct, p.cake_ts_pct, p.filtrate_tss_mg_l, 0.0) AS capture_undiluted_pct,
  wet_cake_t(1.0, capture_pct, p.cake_ts_pct) * r.disposal_per_wet_t AS cost_disposal_per_t,
  (1.0 - capture_pct / 100.0) * 1000.0 * r.recycle_per_kg AS cost_recycle_per_t,
  t.dry_solids_held_t > 0
    OR (t.kind = 'day' AND t.processing_minutes > 0 AND (p.cake_samples = 0 OR p.filtrate_samples = 0 OR p.feed_samples = 0)) AS is_provisional,
  v.data_version
FROM work.period_totals t
JOIN work.period_product p ON p.line = t.line
  AND p.kind = t.kind
  AND p.operating_day = t.operating_day
  AND p.label = t.label
LEFT JOIN work.dose_spread d ON d.line = t.line
  AND d.kind = t.kind
  AND d.operating_day = t.operating_day
  AND d.label = t.label
LEFT JOIN prices r ON t.period_start_utc >= r.from_utc AND t.period_start_utc < r.to_utc
LEFT JOIN work.span_versions v ON v.first_day = t.first_day AND v.last_day = t.operating_day;
