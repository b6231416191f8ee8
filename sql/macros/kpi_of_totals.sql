-- question: What are the KPIs of every period at hand?
-- unit: in the names
-- grain: line, kind of period, period ; the one place where totals become ratios
-- formula: ratio of totals; a ratio is null when its gate fails and a reason says why
-- source: gates common practice, no source: hour and last hours 30 valid minutes, shift and day 120, each 90 % of processing minutes;
--         week and spans of days three days with a dose and 600 processing minutes
-- known limits: none
CREATE OR REPLACE MACRO kpi_of_totals(totals) AS TABLE
WITH gated AS (
  SELECT *,
    CASE WHEN kind IN ('shift', 'day') THEN 120 ELSE 30 END AS least_minutes,
    CASE
      WHEN processing_minutes = 0 THEN 'no processing'
      WHEN kind IN ('week', '7 d', '28 d') AND dosed_days < 3 THEN format('{} days with a dose, 3 needed', dosed_days)
      WHEN kind IN ('week', '7 d', '28 d') AND processing_minutes < 600 THEN format('{} processing minutes, 600 needed', processing_minutes)
      WHEN kind IN ('week', '7 d', '28 d') THEN NULL
      WHEN valid_minutes < least_minutes THEN format('{} valid minutes, {} needed', valid_minutes, least_minutes)
      WHEN valid_minutes < 0.9 * processing_minutes THEN format('{} of {} processing minutes valid, 90 % needed', valid_minutes, processing_minutes)
      WHEN dosed_minutes = 0 THEN 'feed TS or polymer strength unknown'
      WHEN dosed_minutes < 0.9 * processing_minutes THEN format('feed TS or polymer strength known for {} of {} processing minutes', dosed_minutes, processing_minutes)
      WHEN dry_solids_t IS NULL OR dry_solids_t = 0 THEN 'no dry solids'
    END AS dose_reason
  FROM query_table(totals)
)
SELECT
  kind, anchor, label, operating_days,
  plant, line, operating_day, period_start_utc, period_end_utc, minutes_seen, unknown_minutes, processing_minutes, valid_minutes,
  run_h, processing_h, idle_h, starts,
  feed_volume_m3, feed_volume_all_m3,
  60.0 * ratio_or_null(feed_volume_m3, valid_minutes) AS sludge_flow_m3_h,
  dry_solids_t,
  100.0 * ratio_or_null(dry_solids_t, dosed_mass_t) AS feed_ts_pct,
  ratio_or_null(ts_age_h_t, dry_solids_t) AS feed_ts_age_h,
  dry_solids_held_t,
  polymer_active_kg, polymer_neat_kg,
  CASE WHEN dose_reason IS NULL THEN ratio_or_null(polymer_active_kg, dry_solids_t) END AS dose_active_kg_t,
  CASE WHEN dose_reason IS NULL THEN ratio_or_null(polymer_neat_kg, dry_solids_t) END AS dose_neat_kg_t,
  dose_reason,
  cake_ts_pct, cake_samples, filtrate_tss_mg_l, filtrate_samples, feed_samples,
  ratio_or_null(dilution_m3, diluted_feed_m3) AS dilution_ratio,
  capture_undiluted_pct, capture_pct,
  CASE
    WHEN capture_pct IS NOT NULL THEN NULL
    WHEN processing_minutes = 0 THEN 'no processing'
    WHEN cake_ts_pct IS NULL THEN 'no cake sample'
    WHEN filtrate_tss_mg_l IS NULL THEN 'no filtrate sample'
    WHEN dry_solids_t IS NULL THEN 'feed TS unknown'
    WHEN dilution_m3 IS NULL THEN 'dilution water unknown'
    ELSE 'samples contradict each other'
  END AS capture_reason,
  ratio_or_null(pump_dp_sum, pump_dp_minutes) AS pump_dp_kpa,
  ratio_or_null(pump_head_sum, pump_head_minutes) AS pump_head_m,
  pump_dp_minutes,
  ratio_or_null(mixing_dp_sum, mixing_dp_minutes) AS mixing_dp_kpa,
  mixing_dp_ref_kpa, mixing_dp_ref_method, mixing_dp_minutes,
  energy_kwh, ratio_or_null(energy_kwh, dry_solids_t) AS energy_kwh_t, wash_water_m3,
  ratio_or_null(polymer_cost, polymer_cost_solids_t) AS cost_polymer_per_t,
  cost_disposal_per_t,
  ratio_or_null(power_cost, power_cost_solids_t) AS cost_power_per_t,
  ratio_or_null(water_cost, water_cost_solids_t) AS cost_water_per_t,
  cost_recycle_per_t,
  cost_polymer_per_t + cost_disposal_per_t + coalesce(cost_power_per_t, 0.0) + coalesce(cost_water_per_t, 0.0) + coalesce(cost_recycle_per_t, 0.0) AS cost_total_per_t,
  1.0 - ratio_or_null(valid_minutes, processing_minutes) AS missed_share,
  is_provisional, data_version
FROM gated;
