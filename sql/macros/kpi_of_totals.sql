-- question: What are the KPIs of every period at hand?
-- unit: in the names
-- grain: line, kind of period, period ; the one place where totals become ratios
-- formula: ratio of totals; a ratio is null when its gate fails and a reason says why
-- source: gates common practice, no source: hour and last hours 30 valid minutes, shift and day 120, each 90 % of processing and lost minutes;
--         week and spans of days three days with a dose and 600 processing minutes; of all time 90 % of processing minutes dosed;
--         energy and power cost 90 % of the dry
--         solids with every metered drive known; a cost without a term that was priced before is none; totaliser closure as many processing
--         minutes as the dose; dose variability 8 quarter hours
-- known limits: G and Gt are nominal: one viscosity and one volume stand for all sludge
CREATE OR REPLACE MACRO kpi_of_totals(totals) AS TABLE
WITH setting AS (
  SELECT line, device, device_width_m, device IN ('belt press', 'gravity belt thickener') AS is_belt, suction_minimum_kpa, discharge_maximum_kpa,
    drive_efficiency, mixing_volume_l, sludge_viscosity_mpa_s, polymer_tank_m3, shared_with, shared_roles, polymer_meter
  FROM line_settings
), priced AS (
  SELECT min(from_utc) FILTER (power_per_kwh IS NOT NULL) AS power_priced_utc, min(from_utc) FILTER (water_per_m3 IS NOT NULL) AS water_priced_utc,
    min(from_utc) FILTER (recycle_per_kg IS NOT NULL) AS recycle_priced_utc
  FROM prices
), counted AS (
  SELECT *,
    kind IN ('week', '7 d', '28 d') AS is_long,
    CASE WHEN kind IN ('week', '7 d', '28 d') THEN span_minutes WHEN kind IN ('shift', 'day') THEN day_minutes ELSE hour_minutes END
      AS least_minutes,
    coalesce(len(arrangements), 0) > 1 AS is_mixed,
    processing_minutes + lost_minutes AS asked_minutes,
    CASE WHEN lost_minutes > 0 THEN 'processing and lost minutes' ELSE 'processing minutes' END AS asked
  FROM query_table(totals) LEFT JOIN setting USING (line) CROSS JOIN priced CROSS JOIN work.limits
), judged AS (
  SELECT *,
    CASE
      WHEN asked_minutes = 0 AND unknown_minutes >= unjudged_minutes
        THEN format('running state unknown for {} of {} minutes', unknown_minutes, minutes_seen)
      WHEN asked_minutes = 0 THEN 'no processing'
      WHEN is_long AND dosed_days < span_days THEN format('{} days with a dose, {} needed', dosed_days, span_days)
      WHEN is_long AND processing_minutes < least_minutes THEN format('{} processing minutes, {} needed', processing_minutes, least_minutes)
      WHEN is_long THEN NULL
      WHEN valid_minutes < least_minutes THEN format('{} valid minutes, {} needed', valid_minutes, least_minutes)
      WHEN valid_minutes < valid_share * asked_minutes
        THEN format('{} of {} {} valid, {:.0f} % needed', valid_minutes, asked_minutes, asked, 100.0 * valid_share)
      WHEN dosed_minutes = 0 THEN 'feed TS or polymer strength unknown'
      WHEN dosed_minutes < valid_share * processing_minutes
        THEN format('feed TS or polymer strength known for {} of {} processing minutes', dosed_minutes, processing_minutes)
      WHEN dry_solids_t IS NULL OR dry_solids_t = 0 THEN 'no dry solids'
    END AS minute_reason
  FROM counted
), explained AS (
  SELECT *,
    CASE WHEN minute_reason IS NOT NULL AND unsplit_minutes > 0 THEN format('meter shared with {}, no split rule', shared_with)
      ELSE minute_reason END AS dose_reason
  FROM judged
), gated AS (
  SELECT * EXCLUDE (dose_variability_pct),
    dose_reason IS NULL AS is_dose,
    CASE
      WHEN dose_reason IS NOT NULL THEN dose_reason
      WHEN dosed_minutes < valid_share * asked_minutes THEN format('dry solids known for {} of {} {}, 90 % needed', dosed_minutes, asked_minutes, asked)
    END AS all_time_reason,
    CASE
      WHEN kind NOT IN ('shift', 'day') THEN 'given for shifts and days'
      WHEN dose_reason IS NOT NULL THEN dose_reason
      WHEN coalesce(dose_quarters, 0) < 8 THEN format('{} quarter hours with a dose, 8 needed', coalesce(dose_quarters, 0))
    END AS dose_variability_reason,
    CASE WHEN kind IN ('shift', 'day') AND dose_reason IS NULL AND dose_quarters >= 8 THEN dose_variability_pct END AS dose_variability_pct,
    CASE
      WHEN processing_minutes = 0 THEN 'no processing'
      WHEN energy_solids_t IS NULL THEN CASE WHEN dry_solids_t IS NULL THEN 'no dry solids' ELSE 'no power meter' END
      WHEN energy_solids_t < 0.9 * dry_solids_t
        THEN format('power of every drive known for {:.0f} % of the dry solids, 90 needed', 100.0 * energy_solids_t / dry_solids_t)
    END AS energy_reason,
    CASE WHEN energy_reason IS NULL THEN ratio_or_null(power_cost, power_cost_solids_t) END AS cost_power_per_t,
    ratio_or_null(water_cost, water_cost_solids_t) AS cost_water_per_t,
    cost_power_per_t IS NULL AND energy_solids_t IS NOT NULL AND period_end_utc > power_priced_utc
      OR cost_water_per_t IS NULL AND period_end_utc > water_priced_utc
      OR cost_recycle_per_t IS NULL AND period_end_utc > recycle_priced_utc AS lacks_a_term,
    60.0 * ratio_or_null(feed_volume_m3, valid_minutes) AS sludge_flow_m3_h,
    CASE WHEN dose_reason IS NULL THEN 60.0 * 1000.0 * ratio_or_null(dry_solids_t, dosed_minutes) END AS solids_rate_kg_h,
    CASE WHEN processing_minutes >= least_minutes THEN ratio_or_null(sludge_total_m3, sludge_total_flow_m3) END AS sludge_closure,
    CASE WHEN processing_minutes >= least_minutes THEN ratio_or_null(polymer_total_m3, polymer_total_flow_m3) END AS polymer_closure,
    mixing_energy_kj_m3(ratio_or_null(mixing_work_kj, mixing_feed_m3)) AS mixing_work_kj_m3,
    60.0 * ratio_or_null(mixing_feed_m3, mixing_dp_minutes) AS mixing_flow_m3_h
  FROM explained
)
SELECT
  kind, anchor, label, operating_days,
  plant, line, operating_day, period_start_utc, period_end_utc,
  CASE WHEN NOT is_mixed THEN nullif(arrangements[1], '') END AS arrangement,
  CASE
    WHEN is_mixed THEN 'mixed: ' || array_to_string(list_transform(arrangements, lambda name: coalesce(nullif(name, ''), 'not declared')), '; ')
    WHEN transition_minutes = 0 OR transition_minutes IS NULL THEN NULL
    WHEN transition_minutes = processing_minutes THEN 'in transition'
    ELSE 'partly in transition'
  END AS arrangement_note,
  minutes_seen, unknown_minutes, processing_minutes, lost_minutes, valid_minutes,
  dosed_minutes, unsplit_minutes,
  unjudged_days,
  run_h, run_unknown_h,
  running_h, processing_h, idle_h,
  ratio_or_null(idle_h, running_h) AS idle_share,
  ratio_or_null(processing_minutes::DOUBLE, minutes_seen) AS utilisation_calendar_share,
  starts, stops, short_runs,
  ratio_or_null(starts, run_h) AS starts_per_run_hour,
  ratio_or_null(run_h, stops) AS mean_run_h,
  planned_h, down_h,
  ratio_or_null(planned_h - down_h, planned_h) AS availability_share,
  CASE
    WHEN planned_h > 0 THEN NULL
    WHEN line NOT IN (SELECT line FROM planned_times) THEN 'no planned times in the plant file'
    WHEN unknown_minutes > 0 THEN 'no planned time with a known running state in the period'
    ELSE 'no planned time in the period'
  END AS availability_reason,
  dry_run_minutes, deadhead_minutes,
  CASE
    WHEN deadhead_minutes IS NOT NULL AND dry_run_minutes IS NOT NULL THEN NULL
    WHEN dry_run_minutes IS NULL THEN 'neither sludge flow nor suction pressure known'
    WHEN discharge_maximum_kpa IS NULL THEN 'no discharge_maximum in the plant file'
    ELSE 'no discharge pressure with a sludge flow'
  END AS exposure_reason,
  feed_volume_m3, feed_volume_all_m3, feed_untested_m3, feed_doubtful_m3,
  sludge_flow_m3_h,
  sludge_total_m3, sludge_total_flow_m3,
  sludge_closure,
  dosed_feed_m3, dry_solids_t, dry_solids_all_t,
  100.0 * ratio_or_null(dry_solids_t, dosed_mass_t) AS feed_ts_pct,
  ratio_or_null(ts_age_h_t, dry_solids_t) AS feed_ts_age_h,
  dry_solids_held_t, dry_solids_sampled_t,
  solids_rate_kg_h,
  CASE WHEN is_dose THEN ratio_or_null(dry_solids_t, processing_h) END AS throughput_t_h,
  CASE WHEN is_belt THEN ratio_or_null(sludge_flow_m3_h, device_width_m) END AS hydraulic_loading_m3_h_per_m,
  CASE WHEN NOT is_belt THEN sludge_flow_m3_h END AS hydraulic_loading_m3_h_per_unit,
  CASE WHEN is_belt THEN ratio_or_null(solids_rate_kg_h, device_width_m) END AS solids_loading_kg_h_per_m,
  CASE WHEN NOT is_belt THEN solids_rate_kg_h END AS solids_loading_kg_h_per_unit,
  CASE WHEN is_belt AND device_width_m IS NULL THEN 'no device_width in the plant file' ELSE dose_reason END AS loading_reason,
  vs_pct, vs_samples,
  polymer_active_kg, polymer_neat_kg, polymer_neat_all_kg,
  CASE WHEN is_dose THEN 60.0 * ratio_or_null(polymer_active_kg, dosed_minutes) END AS polymer_rate_kg_h,
  CASE WHEN is_dose THEN ratio_or_null(polymer_active_kg, dry_solids_t) END AS dose_active_kg_t,
  CASE WHEN is_dose THEN ratio_or_null(polymer_neat_kg, dry_solids_t) END AS dose_neat_kg_t,
  CASE WHEN is_dose THEN 1000.0 * ratio_or_null(polymer_active_kg, dosed_feed_m3) END AS dose_g_m3,
  dose_reason,
  dose_variability_pct,
  dose_quarters,
  dose_variability_reason,
  polymer_solution_m3, polymer_solution_feed_m3,
  CASE WHEN is_dose THEN 100.0 * ratio_or_null(polymer_solution_m3, polymer_solution_feed_m3) END AS polymer_feed_ratio_pct,
  100.0 * ratio_or_null(solution_active_kg / 1000.0, polymer_solution_m3) AS solution_strength_used_pct,
  polymer_solution_all_m3, polymer_solution_all_minutes,
  ratio_or_null(polymer_tank_m3 * (polymer_solution_all_minutes / 60.0), polymer_solution_all_m3) AS solution_age_h,
  CASE
    WHEN polymer_tank_m3 IS NULL THEN 'no polymer_tank in the plant file'
    WHEN polymer_solution_all_m3 IS NULL THEN 'flow of solution unknown'
    WHEN polymer_solution_all_m3 = 0 THEN 'no solution drawn'
  END AS solution_age_reason,
  polymer_total_m3, polymer_total_flow_m3,
  polymer_closure,
  CASE
    WHEN sludge_closure IS NOT NULL AND polymer_closure IS NOT NULL THEN NULL
    WHEN processing_minutes < least_minutes THEN format('{} processing minutes, {} needed', processing_minutes, least_minutes)
    WHEN sludge_closure IS NULL AND polymer_closure IS NULL THEN 'no totaliser beside its flow, sludge and polymer'
    WHEN sludge_closure IS NULL THEN 'no totaliser beside its flow, sludge'
    ELSE 'no totaliser beside its flow, polymer'
  END AS closure_reason,
  cake_ts_pct, cake_samples, filtrate_tss_mg_l, filtrate_samples, feed_samples, cst_s, cst_samples,
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
  1000.0 * dry_solids_t * (1.0 - capture_pct / 100.0) AS recycle_solids_kg,
  wet_cake_t(dry_solids_t, capture_pct, cake_ts_pct) AS cake_wet_t,
  ratio_or_null(pump_dp_sum, pump_dp_minutes) AS pump_dp_kpa,
  ratio_or_null(pump_head_sum, pump_head_minutes) AS pump_head_m,
  pump_dp_minutes,
  ratio_or_null(mixing_dp_sum, mixing_dp_minutes) AS mixing_dp_kpa,
  CASE WHEN NOT is_mixed THEN mixing_dp_ref_kpa END AS mixing_dp_ref_kpa,
  CASE WHEN NOT is_mixed THEN mixing_dp_ref_method END AS mixing_dp_ref_method,
  mixing_dp_minutes,
  mixing_feed_m3,
  mixing_work_kj_m3,
  mixing_volume_l, sludge_viscosity_mpa_s,
  velocity_gradient_1_s(mixing_work_kj_m3, sludge_viscosity_mpa_s, mixing_volume_l, mixing_flow_m3_h) AS mixing_g_1_s,
  camp_number(mixing_work_kj_m3, sludge_viscosity_mpa_s, mixing_volume_l, mixing_flow_m3_h) AS mixing_gt,
  CASE
    WHEN mixing_volume_l IS NULL THEN 'no mixing_volume in the plant file'
    WHEN sludge_viscosity_mpa_s IS NULL THEN 'no sludge_viscosity_mpa_s in the plant file'
    WHEN mixing_work_kj_m3 IS NULL THEN 'no processing minute with both mixing pressures and flow'
    WHEN mixing_work_kj_m3 < 0 THEN 'negative pressure drop'
  END AS mixing_reason,
  pump_electric_kwh, pump_hydraulic_kwh, pump_head_kwh,
  100.0 * ratio_or_null(pump_hydraulic_kwh, pump_electric_kwh) AS wire_to_water_pct,
  drive_efficiency,
  100.0 * ratio_or_null(pump_head_kwh, pump_electric_kwh * drive_efficiency) AS pump_efficiency_pct,
  CASE
    WHEN pump_electric_kwh IS NULL THEN 'no processing minute with flow, both pump pressures and pump power'
    WHEN pump_electric_kwh = 0 THEN 'pump power is zero'
    WHEN drive_efficiency IS NULL THEN 'no drive_efficiency in the plant file'
  END AS pump_efficiency_reason,
  suction_minutes,
  ratio_or_null(suction_margin_sum, suction_minutes) AS suction_margin_kpa,
  suction_margin_lowest_kpa,
  CASE
    WHEN suction_minimum_kpa IS NULL THEN 'no suction_minimum in the plant file'
    WHEN suction_minutes = 0 THEN 'no processing minute with a suction pressure'
  END AS suction_margin_reason,
  seal_water_m3, seal_water_minutes, 60.0 * ratio_or_null(seal_water_m3, seal_water_minutes) AS seal_water_m3_h,
  energy_kwh, energy_solids_t,
  CASE WHEN energy_reason IS NULL THEN ratio_or_null(energy_kwh, energy_solids_t) END AS energy_kwh_t,
  energy_reason,
  wash_water_m3,
  CASE WHEN is_dose THEN ratio_or_null(wash_on_solids_m3, wash_solids_t) END AS wash_water_m3_t,
  polymer_water_m3,
  CASE WHEN is_dose THEN ratio_or_null(polymer_water_on_solids_m3, polymer_water_solids_t) END AS polymer_water_m3_t,
  energy_all_kwh,
  CASE WHEN all_time_reason IS NULL AND (energy_solids_t < 0.9 * dry_solids_t) IS NOT TRUE
    THEN ratio_or_null(energy_all_kwh, dry_solids_t) END AS energy_all_kwh_t,
  wash_water_all_m3,
  CASE WHEN all_time_reason IS NULL THEN ratio_or_null(wash_water_all_m3, dry_solids_t) END AS wash_water_all_m3_t,
  polymer_water_all_m3,
  CASE WHEN all_time_reason IS NULL THEN ratio_or_null(polymer_water_all_m3, dry_solids_t) END AS polymer_water_all_m3_t,
  all_time_reason,
  ratio_or_null(polymer_cost, polymer_cost_solids_t) AS cost_polymer_per_t,
  cost_disposal_per_t,
  cost_power_per_t, cost_water_per_t,
  cost_recycle_per_t,
  CASE WHEN lacks_a_term IS NOT TRUE THEN
    cost_polymer_per_t + cost_disposal_per_t + coalesce(cost_power_per_t, 0.0) + coalesce(cost_water_per_t, 0.0) + coalesce(cost_recycle_per_t, 0.0)
  END AS cost_total_per_t,
  cost_polymer_all, cost_power_all, cost_water_all,
  CASE WHEN all_time_reason IS NULL AND lacks_a_term IS NOT TRUE THEN
    ratio_or_null(cost_polymer_all + coalesce(cost_power_all, 0.0) + coalesce(cost_water_all, 0.0), dry_solids_t) + cost_disposal_per_t
      + coalesce(cost_recycle_per_t, 0.0)
  END AS cost_total_all_per_t,
  1.0 - ratio_or_null(valid_minutes, asked_minutes) AS missed_share,
  ratio_or_null(dry_solids_sampled_t, dry_solids_t) AS lab_coverage_share,
  ratio_or_null(dry_solids_held_t, dry_solids_t) AS provisional_share,
  is_provisional, data_version
FROM gated;
