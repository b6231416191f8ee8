-- question: What do the processing minutes of each touched week say of each pump?
-- unit: in the names
-- grain: line, pump, week with processing
-- formula: medians and quarters over the minutes with an index (sql/tables/pump_minutes.sql); standard error = SD of the daily medians / root of
--          their number; its systematic u = index x root of (e_p u_dP/dP)2 + (e_q u_Q/Q)2 from uncertainty_inputs at the week's medians: e_p 1, for
--          slip over root dP 1/2; e_q (1 - slip fraction) / slip fraction, for heads the elasticity of the reference curve; P = P0 + k Q2
--         by least squares; wire to water = sum Q dP / 3600 / sum W over minutes with all three
-- source: textbook forms, from memory; 300 minutes for an index, a wear index of 0.5-1.1 and a slip index above 0 up to 10, 100 minutes and
--         a flow span of 15 % for the fit: common practice, no source
-- known limits: days are taken as independent of each other in the standard error; the flow span of the system curve is judged by 5 and 95 %
--          quantiles; an index is against the test on this sludge, not against a water test; ragging lowers it as wear does;
--          index_se says nothing of the meters, index_u_systematic says nothing of their drift nor of the speed; what of it is constant leaves a
--          change of the index against the same meters and reference alone
CREATE OR REPLACE TABLE work.pump_weeks AS
WITH daily AS (
  SELECT
    line,
    pump,
    week_start_day,
    CASE WHEN count(*) >= 3 THEN stddev_samp(middle) / sqrt(count(*)) END AS index_se,
    count(*)::INTEGER AS index_days
  FROM (SELECT line, pump, week_start_day, operating_day, median(pump_index) AS middle FROM work.pump_minutes WHERE pump_index IS NOT NULL
        GROUP BY ALL ORDER BY line, pump, operating_day)
  GROUP BY line, pump, week_start_day
), weekly AS (
  SELECT
    any_value(plant) AS plant,
    line,
    pump,
    week_start_day,
    any_value(measured_day) AS reference_day,
    any_value(no_reference) AS no_reference,
    count(*)::INTEGER AS processing_minutes, count(pump_index)::INTEGER AS index_minutes,
    count(speed_rpm) AS speed_minutes,
    count(dp_kpa) AS dp_minutes,
    count(q_m3_h) AS flow_minutes,
    count(slip_m3_h) AS slip_minutes,
    max(minute_utc) AS last_utc,
    median(q_m3_h) FILTER (pump_index IS NOT NULL) AS index_q_m3_h,
    median(dp_kpa) FILTER (pump_index IS NOT NULL) AS index_dp_kpa,
    median(q_star_m3_h) AS q_star_m3_h,
    median(h_star_m) AS h_star_m,
    median(slip_m3_h) AS slip_m3_h,
    median(slip_fraction) AS slip_fraction,
    quantile_cont(pump_index, [0.25, 0.5, 0.75]) AS q,
    count(*) FILTER (q_m3_h IS NOT NULL AND discharge_kpa IS NOT NULL)::INTEGER AS system_minutes,
    regr_intercept(discharge_kpa, q_m3_h * q_m3_h) AS p0_kpa, regr_slope(discharge_kpa, q_m3_h * q_m3_h) AS k,
    quantile_cont(q_m3_h, [0.05, 0.95]) FILTER (discharge_kpa IS NOT NULL) AS flow_ends_m3_h,
    median(q_m3_h) FILTER (discharge_kpa IS NOT NULL) AS flow_median_m3_h,
    sum(q_m3_h * dp_kpa / 3600.0) FILTER (power_kw IS NOT NULL) AS hydraulic_kw,
    sum(power_kw) FILTER (q_m3_h IS NOT NULL AND dp_kpa IS NOT NULL) AS power_kw
  FROM work.pump_minutes GROUP BY line, pump, week_start_day
), said AS (
  SELECT w.line, w.pump, w.week_start_day,
    sqrt(sum(pow(i.systematic_abs, 2) + pow(i.systematic_pct / 100.0 * w.index_dp_kpa, 2) ORDER BY i.quantity) FILTER (i.quantity <> 'sludge_flow'))
      / w.index_dp_kpa AS dp_u,
    max(sqrt(pow(i.systematic_abs / w.index_q_m3_h, 2) + pow(i.systematic_pct / 100.0, 2))) FILTER (i.quantity = 'sludge_flow') AS flow_u
  FROM weekly w JOIN uncertainty_inputs i ON i.line = w.line AND w.last_utc >= i.from_utc AND w.last_utc < i.to_utc
  WHERE i.quantity IN ('sludge_flow', 'pump_suction_pressure', 'pump_discharge_pressure')
  GROUP BY w.line, w.pump, w.week_start_day, w.index_dp_kpa
), judged AS (
  SELECT w.*, q[2] * sqrt(pow(u.dp_u * CASE b.slip_form WHEN 'sqrt' THEN 0.5 ELSE 1.0 END, 2)
      + pow(u.flow_u * coalesce((1.0 - slip_fraction) / nullif(slip_fraction, 0), (b.head_c1 * q_star_m3_h + 2.0 * b.head_c2 * q_star_m3_h
        * q_star_m3_h)
        / nullif(b.head_c0_m + b.head_c1 * q_star_m3_h + b.head_c2 * q_star_m3_h
          * q_star_m3_h, 0)), 2)) AS index_u_systematic, coalesce(d.index_days, 0)::INTEGER AS index_days, d.index_se,
    CASE
      WHEN no_reference IS NOT NULL THEN no_reference
      WHEN speed_minutes = 0 THEN 'pump speed not known'
      WHEN dp_minutes = 0 THEN 'pump pressures not known'
      WHEN flow_minutes = 0 THEN 'sludge flow not known'
      WHEN index_minutes < 300 THEN format('{} minutes within the windows of the reference, 300 needed', index_minutes)
      WHEN slip_minutes = 0 AND q[2] NOT BETWEEN 0.5 AND 1.1
        THEN format('index of {:.2f}, 0.5 to 1.1 can be: look at the pressure and flow meters', q[2])
      WHEN slip_minutes > 0 AND (q[2] <= 0 OR q[2] > 10)
        THEN format('index of {:.2f}, above 0 to 10 can be: look at the pressure and flow meters', q[2])
    END AS index_reason,
    CASE
      WHEN system_minutes < curve_points
        THEN format('{} minutes with flow and discharge pressure, {} needed', system_minutes, curve_points)
      WHEN flow_ends_m3_h[2] - flow_ends_m3_h[1] < flow_span_share * flow_median_m3_h
        THEN format('flow spans {:.1f} % of its median, {:.0f} needed',
          100.0 * (flow_ends_m3_h[2] - flow_ends_m3_h[1]) / flow_median_m3_h, 100.0 * flow_span_share)
    END AS system_reason,
    index_reason IS NULL AS has_index, system_reason IS NULL AS has_system
  FROM weekly w
  CROSS JOIN work.limits
  LEFT JOIN daily d ON d.line = w.line AND d.pump = w.pump AND d.week_start_day = w.week_start_day
  LEFT JOIN said u ON u.line = w.line AND u.pump = w.pump AND u.week_start_day = w.week_start_day
  LEFT JOIN (SELECT line, pump, from_utc, to_utc, slip_form, head_c0_m, head_c1, head_c2 FROM pump_baselines) b ON b.line = w.line
    AND b.pump = w.pump
    AND w.last_utc >= b.from_utc AND w.last_utc < b.to_utc
)
SELECT
  j.plant,
  j.line,
  j.pump,
  j.week_start_day,
  j.processing_minutes,
  w.arrangement,
  w.arrangement_note,
  j.reference_day,
  j.index_minutes,
  j.index_days,
  CASE WHEN has_index THEN q_star_m3_h END AS flow_at_reference_speed_m3_h,
  CASE WHEN has_index THEN h_star_m END AS head_at_reference_speed_m,
  CASE WHEN has_index AND slip_minutes = 0 THEN q[2] END AS wear_index,
  CASE WHEN has_index THEN slip_m3_h END AS slip_flow_m3_h, CASE WHEN has_index THEN slip_fraction END AS slip_fraction,
  CASE WHEN has_index AND slip_minutes > 0 THEN q[2] END AS slip_index,
  CASE WHEN has_index THEN q[1] END AS index_p25,
  CASE WHEN has_index THEN q[3] END AS index_p75,
  CASE WHEN has_index THEN index_se END AS index_se,
  CASE WHEN has_index THEN index_u_systematic END AS index_u_systematic,
  j.index_reason,
  CASE WHEN has_system THEN p0_kpa END AS system_p0_kpa,
  CASE WHEN has_system THEN k END AS system_k,
  j.system_minutes,
  j.system_reason,
  CASE WHEN power_kw > 0 THEN 100.0 * hydraulic_kw / power_kw END AS wire_to_water_pct,
  v.data_version
FROM judged j
LEFT JOIN work.long_kpi w ON w.kind = 'week' AND w.line = j.line AND w.anchor = j.week_start_day
LEFT JOIN work.span_versions v ON v.first_day = j.week_start_day AND v.last_day = j.week_start_day + 6
ORDER BY j.line, j.pump, j.week_start_day;
