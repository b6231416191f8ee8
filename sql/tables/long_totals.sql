-- question: What adds up over each reporting week and rolling span of days?
-- unit: in the names
-- grain: line, kind (week, 7 d, 28 d), last or first day (work table)
-- formula: sums of the day rows' totals; cake, filtrate, capture and disposal are means weighted by dry solids; pressures by their minutes
-- source: common practice, no source
-- known limits: days without a figure do not weigh in that figure
CREATE OR REPLACE TABLE work.long_totals AS
WITH member AS (
  SELECT s.kind, s.anchor, d.* FROM work.long_spans s
  JOIN work.day_rows d ON d.operating_day BETWEEN s.first_day AND s.last_day
), sorted AS (SELECT * FROM member ORDER BY kind, line, anchor, operating_day), summed AS (
SELECT
  any_value(plant) AS plant, line, kind, anchor, NULL::DATE AS operating_day, '' AS label,
  min(period_start_utc) AS period_start_utc, max(period_end_utc) AS period_end_utc,
  count(*) FILTER (processing_minutes > 0)::INTEGER AS operating_days,
  count(dose_active_kg_t)::INTEGER AS dosed_days,
  sum(COLUMNS(lambda c: is_kpi_total(c))),
  sum(COLUMNS(lambda c: is_kpi_count(c)))::INTEGER,
  sum(ratio_or_null(dry_solids_t * 100.0, feed_ts_pct)) AS dosed_mass_t,
  sum(feed_ts_age_h * dry_solids_t) AS ts_age_h_t,
  NULL::DOUBLE AS dose_variability_pct,
  NULL::INTEGER AS dose_quarters,
  sum(solution_strength_used_pct / 100.0 * 1000.0 * polymer_solution_m3) AS solution_active_kg,
  sum(cost_polymer_per_t * dry_solids_t) AS polymer_cost,
  sum(dry_solids_t) FILTER (cost_polymer_per_t IS NOT NULL) AS polymer_cost_solids_t,
  sum(dilution_ratio * feed_volume_m3) AS dilution_m3,
  sum(feed_volume_m3) FILTER (dilution_ratio IS NOT NULL) AS diluted_feed_m3,
  sum(wash_water_m3_t * dry_solids_t) AS wash_on_solids_m3,
  sum(dry_solids_t) FILTER (wash_water_m3_t IS NOT NULL) AS wash_solids_t,
  sum(polymer_water_m3_t * dry_solids_t) AS polymer_water_on_solids_m3,
  sum(dry_solids_t) FILTER (polymer_water_m3_t IS NOT NULL) AS polymer_water_solids_t,
  sum(cost_water_per_t * dry_solids_t) AS water_cost,
  sum(dry_solids_t) FILTER (cost_water_per_t IS NOT NULL) AS water_cost_solids_t,
  sum(cost_power_per_t * dry_solids_t) AS power_cost,
  sum(dry_solids_t) FILTER (cost_power_per_t IS NOT NULL) AS power_cost_solids_t,
  sum(pump_dp_kpa * pump_dp_minutes) AS pump_dp_sum,
  sum(pump_head_m * pump_dp_minutes) AS pump_head_sum,
  (sum(pump_dp_minutes) FILTER (pump_head_m IS NOT NULL))::INTEGER AS pump_head_minutes,
  sum(suction_margin_kpa * suction_minutes) AS suction_margin_sum,
  min(suction_margin_lowest_kpa) AS suction_margin_lowest_kpa,
  sum(mixing_work_kj_m3 * mixing_feed_m3) AS mixing_work_kj,
  sum(mixing_dp_kpa * mixing_dp_minutes) AS mixing_dp_sum,
  CASE
    WHEN bool_and(mixing_dp_ref_method = 'fit') THEN 'fit'
    WHEN count(mixing_dp_ref_method) > 0 THEN 'scaled' END AS mixing_dp_ref_method,
  ratio_or_null(sum(mixing_dp_ref_kpa * mixing_dp_minutes), sum(mixing_dp_minutes) FILTER (mixing_dp_ref_kpa IS NOT NULL)) AS mixing_dp_ref_kpa,
  ratio_or_null(sum(cake_ts_pct * dry_solids_t), sum(dry_solids_t) FILTER (cake_ts_pct IS NOT NULL)) AS cake_ts_pct,
  ratio_or_null(sum(filtrate_tss_mg_l * dry_solids_t), sum(dry_solids_t) FILTER (filtrate_tss_mg_l IS NOT NULL)) AS filtrate_tss_mg_l,
  ratio_or_null(sum(vs_pct * dry_solids_t), sum(dry_solids_t) FILTER (vs_pct IS NOT NULL)) AS vs_pct,
  ratio_or_null(sum(cst_s * cst_samples), sum(cst_samples) FILTER (cst_s IS NOT NULL)) AS cst_s,
  ratio_or_null(sum(capture_pct * dry_solids_t), sum(dry_solids_t) FILTER (capture_pct IS NOT NULL)) AS capture_pct,
  ratio_or_null(sum(capture_undiluted_pct * dry_solids_t), sum(dry_solids_t) FILTER (capture_undiluted_pct IS NOT NULL)) AS capture_undiluted_pct,
  ratio_or_null(sum(cost_disposal_per_t * dry_solids_t), sum(dry_solids_t) FILTER (cost_disposal_per_t IS NOT NULL)) AS cost_disposal_per_t,
  ratio_or_null(sum(cost_recycle_per_t * dry_solids_t), sum(dry_solids_t) FILTER (cost_recycle_per_t IS NOT NULL)) AS cost_recycle_per_t,
  bool_or(is_provisional) AS is_provisional
FROM sorted
GROUP BY line, kind, anchor
), span AS (
  SELECT t.line, t.kind, t.anchor, t.processing_minutes, s.first_day, s.last_day
  FROM summed t JOIN work.long_spans s ON s.kind = t.kind AND s.anchor = t.anchor
), standing AS (
  SELECT s.line, s.kind, s.anchor,
    list_sort(list(DISTINCT a.arrangement)) AS standing_arrangements,
    list_sort(list(DISTINCT a.arrangement) FILTER (a.processing_minutes > 0)) AS declared_arrangements,
    sum(a.processing_minutes) < any_value(s.processing_minutes) AS is_partly_undeclared,
    sum(a.transition_minutes)::INTEGER AS transition_minutes
  FROM span s
  JOIN work.arrangement_rows a ON a.line = s.line AND a.operating_day BETWEEN s.first_day AND s.last_day
  GROUP BY s.line, s.kind, s.anchor
)
SELECT t.*,
  CASE WHEN t.processing_minutes = 0 THEN a.standing_arrangements
    WHEN a.is_partly_undeclared THEN list_prepend('', coalesce(a.declared_arrangements, []))
    ELSE a.declared_arrangements END AS arrangements,
  coalesce(a.transition_minutes, 0) AS transition_minutes,
  v.data_version
FROM summed t
JOIN span s ON s.line = t.line AND s.kind = t.kind AND s.anchor = t.anchor
LEFT JOIN standing a ON a.line = t.line AND a.kind = t.kind AND a.anchor = t.anchor
LEFT JOIN work.span_versions v ON v.first_day = s.first_day AND v.last_day = s.last_day;
