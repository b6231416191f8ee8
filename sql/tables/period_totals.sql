-- question: What adds up over each hour, shift, day and last hours of the days at hand?
-- unit: in the names
-- grain: line, kind of period, period (work table)
-- formula: plain sums over minutes; mixing dP at the reference flow by least squares dP = b0 + k Q2 when 100 minutes span 15 % of flow,
--          else the mean of dP (Qref/Q)2
-- source: common practice, no source
-- known limits: the span of flow is judged by its 5 and 95 % quantiles
CREATE OR REPLACE TABLE work.period_totals AS
WITH last_minute AS (
  SELECT line, operating_day, max(minute_utc) AS end_utc FROM work.minute_kpi WHERE is_processing GROUP BY ALL
), windows AS (
  SELECT l.line, l.operating_day, w.kind, w.hours, l.end_utc + INTERVAL 1 MINUTE AS end_utc
  FROM last_minute l CROSS JOIN (VALUES ('1 h', 1), ('8 h', 8), ('24 h', 24)) w (kind, hours)
  WHERE l.operating_day IN (SELECT operating_day FROM work.rolling_hour_days)
), member AS (
  SELECT 'hour' AS kind, operating_day, strftime(hour_utc, '%Y-%m-%dT%H') AS label, m.* EXCLUDE (operating_day) FROM work.minute_kpi m
  WHERE operating_day IN (SELECT operating_day FROM work.touched_days)
  UNION ALL BY NAME
  SELECT 'shift' AS kind, operating_day, shift AS label, m.* EXCLUDE (operating_day) FROM work.minute_kpi m
  WHERE shift IS NOT NULL AND operating_day IN (SELECT operating_day FROM work.touched_days)
  UNION ALL BY NAME
  SELECT 'day' AS kind, operating_day, '' AS label, m.* EXCLUDE (operating_day) FROM work.minute_kpi m
  WHERE operating_day IN (SELECT operating_day FROM work.touched_days)
  UNION ALL BY NAME
  SELECT w.kind, w.operating_day, '' AS label, m.* EXCLUDE (operating_day)
  FROM windows w JOIN work.minute_kpi m ON m.line = w.line AND m.minute_utc >= w.end_utc - to_hours(w.hours) AND m.minute_utc < w.end_utc
), sorted AS (
  SELECT * FROM member ORDER BY kind, line, operating_day, label, minute_utc
), summed AS (
SELECT
  any_value(plant) AS plant, line, kind, operating_day, label,
  min(minute_utc) AS period_start_utc, max(minute_utc) + INTERVAL 1 MINUTE AS period_end_utc,
  count(*)::INTEGER AS minutes_seen,
  count(*) FILTER (state = 'unknown')::INTEGER AS unknown_minutes,
  count(*) FILTER (is_processing)::INTEGER AS processing_minutes,
  count(*) FILTER (is_valid)::INTEGER AS valid_minutes,
  count(*) FILTER (is_dosed)::INTEGER AS dosed_minutes,
  sum(run_h) AS run_h,
  count(*) FILTER (is_processing) / 60.0 AS processing_h,
  count(*) FILTER (state = 'idle running') / 60.0 AS idle_h,
  count(*) FILTER (is_start)::INTEGER AS starts,
  sum(fed_m3) AS feed_volume_m3,
  sum(fed_all_m3) AS feed_volume_all_m3,
  sum(dry_solids_t) AS dry_solids_t,
  sum(dosed_mass_t) AS dosed_mass_t,
  coalesce(sum(dry_solids_held_t), 0.0) AS dry_solids_held_t,
  sum(ts_age_h * dry_solids_t) AS ts_age_h_t,
  sum(active_kg) AS polymer_active_kg,
  sum(neat_kg) AS polymer_neat_kg,
  sum(polymer_cost) AS polymer_cost,
  sum(polymer_water_m3) AS polymer_water_m3,
  sum(wash_m3) AS wash_water_m3,
  sum(water_price * (coalesce(polymer_water_m3, 0.0) + coalesce(wash_m3, 0.0))) AS water_cost,
  sum(energy_kwh) AS energy_kwh,
  sum(power_price * energy_kwh) AS power_cost,
  sum(pump_dp_kpa) AS pump_dp_sum, count(pump_dp_kpa)::INTEGER AS pump_dp_minutes,
  sum(pump_head_m) AS pump_head_sum, count(pump_head_m)::INTEGER AS pump_head_minutes,
  sum(mixing_dp_kpa) AS mixing_dp_sum, count(mixing_dp_kpa)::INTEGER AS mixing_dp_minutes,
  sum(mixing_dp_kpa * pow(reference_flow_m3_h / q_m3_h, 2)) AS mixing_scaled_sum,
  regr_slope(mixing_dp_kpa, q_m3_h * q_m3_h) AS mixing_k,
  regr_intercept(mixing_dp_kpa, q_m3_h * q_m3_h) AS mixing_b0,
  (quantile_cont(q_m3_h, 0.95) FILTER (mixing_dp_kpa IS NOT NULL) - quantile_cont(q_m3_h, 0.05) FILTER (mixing_dp_kpa IS NOT NULL))
    / nullif(avg(q_m3_h) FILTER (mixing_dp_kpa IS NOT NULL), 0) AS mixing_flow_span,
  any_value(reference_flow_m3_h) AS reference_flow_m3_h
FROM sorted
GROUP BY line, kind, operating_day, label
)
SELECT * EXCLUDE (mixing_scaled_sum, mixing_k, mixing_b0, mixing_flow_span, reference_flow_m3_h),
  CASE WHEN mixing_dp_minutes = 0 THEN NULL WHEN mixing_dp_minutes >= 100 AND mixing_flow_span >= 0.15 THEN 'fit' ELSE 'scaled' END AS mixing_dp_ref_method,
  CASE mixing_dp_ref_method WHEN 'fit' THEN mixing_b0 + mixing_k * reference_flow_m3_h * reference_flow_m3_h
    WHEN 'scaled' THEN mixing_scaled_sum / mixing_dp_minutes END AS mixing_dp_ref_kpa
FROM summed;
