-- question: What adds up over each hour, shift, day and last hours of the days at hand?
-- unit: in the names
-- grain: line, kind of period, period (work table)
-- formula: plain sums over minutes; mixing dP at the reference flow by least squares dP = b0 + k Q2 when 100 minutes span 15 % of their median flow,
--          else the mean of dP (Qref/Q)2
-- source: common practice, no source
-- known limits: the span of flow is judged by its 5 and 95 % quantiles; last hours end with the day's last processing minute, so a day
--          without processing has none
CREATE OR REPLACE TABLE work.period_totals AS
WITH last_minute AS (
  SELECT line, operating_day, max(minute_utc) + INTERVAL 1 MINUTE AS end_utc FROM work.minute_kpi
  WHERE is_processing AND operating_day IN (SELECT operating_day FROM work.rolling_hour_days) GROUP BY ALL
), windows AS (
  SELECT
    l.line,
    l.operating_day,
    l.end_utc,
    w.kind,
    l.end_utc - to_hours(w.hours) AS start_utc,
    l.operating_day - w.back AS minute_day
  FROM last_minute l
  CROSS JOIN (VALUES ('1 h', 1, 0), ('1 h', 1, 1), ('8 h', 8, 0), ('8 h', 8, 1), ('24 h', 24, 0), ('24 h', 24, 1)) w (kind, hours, back)
), touched AS (
  SELECT operating_day AS minute_day, (epoch_us(hour_utc) // 3600000000)::VARCHAR AS hour_label, * FROM work.minute_kpi
  WHERE operating_day IN (SELECT operating_day FROM work.touched_days)
), member AS (
  SELECT 'hour' AS kind, hour_label AS label, * EXCLUDE (hour_label, hour_utc, shift) FROM touched
  UNION ALL BY NAME
  SELECT 'shift' AS kind, shift AS label, * EXCLUDE (hour_label, hour_utc, shift) FROM touched WHERE shift IS NOT NULL
  UNION ALL BY NAME
  SELECT 'day' AS kind, '' AS label, * EXCLUDE (hour_label, hour_utc, shift) FROM touched
  UNION ALL BY NAME
  (SELECT w.kind, '' AS label, w.operating_day, m.operating_day AS minute_day, m.* EXCLUDE (operating_day, hour_utc, shift)
  FROM windows w JOIN work.minute_kpi m
    ON m.line = w.line AND m.operating_day = w.minute_day AND m.minute_utc >= w.start_utc AND m.minute_utc < w.end_utc
  ORDER BY m.minute_utc)
), summed AS (  -- CASE within the aggregates: FILTER beside them takes twice the time
SELECT
  any_value(plant) AS plant, line, kind, operating_day, label,
  min(minute_day) AS first_day,
  min(minute_utc) AS period_start_utc, max(minute_utc) + INTERVAL 1 MINUTE AS period_end_utc,
  sum(COLUMNS(lambda c: is_kpi_total(c))),
  count(*)::INTEGER AS minutes_seen,
  count(CASE WHEN state = 'unknown' THEN 1 END)::INTEGER AS unknown_minutes,
  count(CASE WHEN is_processing THEN 1 END)::INTEGER AS processing_minutes,
  count(CASE WHEN is_lost THEN 1 END)::INTEGER AS lost_minutes,
  count(CASE WHEN is_valid THEN 1 END)::INTEGER AS valid_minutes,
  count(CASE WHEN is_dosed THEN 1 END)::INTEGER AS dosed_minutes,
  count(CASE WHEN is_unsplit THEN 1 END)::INTEGER AS unsplit_minutes,
  list_sort(list_distinct(list(DISTINCT CASE WHEN is_processing THEN coalesce(arrangement, '') END))) AS processing_arrangements,
  list_sort(list_distinct(list(DISTINCT arrangement))) AS standing_arrangements,
  count(CASE WHEN is_processing AND is_in_transition THEN 1 END)::INTEGER AS transition_minutes,
  (count(CASE WHEN is_processing AND minute_day = operating_day THEN 1 END) > 0)::INTEGER
    + (count(CASE WHEN is_processing AND minute_day < operating_day THEN 1 END) > 0)::INTEGER AS operating_days,
  count(CASE WHEN is_running(state) THEN 1 END) / 60.0 AS running_h,
  count(CASE WHEN is_processing THEN 1 END) / 60.0 AS processing_h,
  count(CASE WHEN state = 'idle running' THEN 1 END) / 60.0 AS idle_h,
  count(CASE WHEN is_start THEN 1 END)::INTEGER AS starts,
  count(CASE WHEN is_stop THEN 1 END)::INTEGER AS stops,
  count(CASE WHEN is_short_run THEN 1 END)::INTEGER AS short_runs,
  CASE WHEN count(is_planned) > 0 THEN count(CASE WHEN is_planned THEN 1 END) / 60.0 END AS planned_h,
  CASE WHEN count(is_planned) > 0 THEN count(CASE WHEN is_down THEN 1 END) / 60.0 END AS down_h,
  CASE WHEN count(is_dry_run) > 0 THEN count(CASE WHEN is_dry_run THEN 1 END)::INTEGER END AS dry_run_minutes,
  CASE WHEN count(is_deadhead) > 0 THEN count(CASE WHEN is_deadhead THEN 1 END)::INTEGER END AS deadhead_minutes,
  sum(dosed_mass_t) AS dosed_mass_t,
  coalesce(sum(held_solids_t), 0.0) AS dry_solids_held_t,
  coalesce(sum(CASE WHEN ts_age_h <= 24.0 THEN dry_solids_t END), 0.0) AS dry_solids_sampled_t,
  sum(ts_age_h * dry_solids_t) AS ts_age_h_t,
  sum(CASE WHEN polymer_solution_m3 IS NOT NULL THEN polymer_active_kg END) AS solution_active_kg,
  count(polymer_solution_all_m3)::INTEGER AS polymer_solution_all_minutes,
  sum(polymer_neat_kg * polymer_price) AS polymer_cost,
  sum(CASE WHEN polymer_price IS NOT NULL THEN dry_solids_t END) AS polymer_cost_solids_t,
  sum(dilution_m3) AS dilution_m3,
  sum(CASE WHEN dilution_m3 IS NOT NULL THEN feed_volume_m3 END) AS diluted_feed_m3,
  sum(wash_water_m3) AS wash_on_solids_m3,
  sum(CASE WHEN wash_water_m3 IS NOT NULL THEN dry_solids_t END) AS wash_solids_t,
  sum(polymer_water_m3) AS polymer_water_on_solids_m3,
  sum(CASE WHEN polymer_water_m3 IS NOT NULL THEN dry_solids_t END) AS polymer_water_solids_t,
  sum(water_price * (coalesce(polymer_water_m3, 0.0) + coalesce(wash_water_m3, 0.0))) AS water_cost,
  sum(CASE WHEN water_price IS NOT NULL THEN dry_solids_t END) AS water_cost_solids_t,
  sum(power_price * energy_kwh) AS power_cost,
  sum(CASE WHEN power_price IS NOT NULL THEN energy_solids_t END) AS power_cost_solids_t,
  sum(pump_dp_kpa) AS pump_dp_sum, count(pump_dp_kpa)::INTEGER AS pump_dp_minutes,
  sum(pump_head_m) AS pump_head_sum, count(pump_head_m)::INTEGER AS pump_head_minutes,
  sum(suction_kpa - suction_minimum_kpa) AS suction_margin_sum, count(suction_kpa)::INTEGER AS suction_minutes,
  min(suction_kpa - suction_minimum_kpa) AS suction_margin_lowest_kpa,
  count(seal_water_m3)::INTEGER AS seal_water_minutes,
  sum(mixing_dp_kpa * mixing_feed_m3) AS mixing_work_kj,
  sum(mixing_dp_kpa) AS mixing_dp_sum, count(mixing_dp_kpa)::INTEGER AS mixing_dp_minutes,
  sum(mixing_dp_kpa * pow(reference_flow_m3_h / q_m3_h, 2)) AS mixing_scaled_sum,
  regr_slope(mixing_dp_kpa, q_m3_h * q_m3_h) AS mixing_k,
  regr_intercept(mixing_dp_kpa, q_m3_h * q_m3_h) AS mixing_b0,
  (quantile_cont(CASE WHEN mixing_dp_kpa IS NOT NULL THEN q_m3_h END, 0.95) - quantile_cont(CASE WHEN mixing_dp_kpa IS NOT NULL
    THEN q_m3_h END, 0.05))
    / nullif(median(CASE WHEN mixing_dp_kpa IS NOT NULL THEN q_m3_h END), 0) AS mixing_flow_span,
  any_value(reference_flow_m3_h) AS reference_flow_m3_h
FROM member
GROUP BY line, kind, operating_day, label
)
SELECT summed.* EXCLUDE (processing_arrangements, standing_arrangements, mixing_scaled_sum, mixing_k, mixing_b0, mixing_flow_span, reference_flow_m3_h),
  CASE
    WHEN kind = 'day' THEN (processing_minutes = 0 AND unknown_minutes >= unjudged_minutes)::INTEGER END AS unjudged_days,
  CASE WHEN processing_minutes > 0 THEN processing_arrangements ELSE standing_arrangements END AS arrangements,
  CASE WHEN mixing_dp_minutes = 0 THEN NULL
    WHEN mixing_dp_minutes >= curve_points AND mixing_flow_span >= flow_span_share THEN 'fit'
      ELSE 'scaled' END AS mixing_dp_ref_method,
  CASE mixing_dp_ref_method WHEN 'fit' THEN mixing_b0 + mixing_k * reference_flow_m3_h * reference_flow_m3_h
    WHEN 'scaled' THEN mixing_scaled_sum / mixing_dp_minutes END AS mixing_dp_ref_kpa
FROM summed CROSS JOIN work.limits;
