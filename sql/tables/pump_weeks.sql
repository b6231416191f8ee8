-- question: What do the minutes of each touched week say of each pump?
-- unit: in the names
-- grain: line, week (work table)
-- formula: medians and quarters over the minutes with an index; standard error = SD of the daily medians / root of their number;
--          P = P0 + k Q2 by least squares; wire to water = sum Q dP / 3600 / sum W over minutes with all three
-- source: textbook forms, from memory
-- known limits: days are taken as independent of each other in the standard error; the flow span of the system curve is judged by 5 and 95 % quantiles
CREATE OR REPLACE TABLE work.pump_weeks AS
WITH daily AS (
  SELECT line, week_start_day, stddev_samp(middle) / sqrt(count(*)) AS index_se, count(*)::INTEGER AS index_days
  FROM (SELECT line, week_start_day, operating_day, median(pump_index) AS middle FROM work.pump_minutes WHERE pump_index IS NOT NULL
        GROUP BY ALL ORDER BY line, operating_day)
  GROUP BY line, week_start_day
), weekly AS (
  SELECT line, week_start_day, count(*)::INTEGER AS processing_minutes, count(pump_index)::INTEGER AS index_minutes,
    count(speed_rpm) AS speed_minutes, count(dp_kpa) AS dp_minutes, count(q_m3_h) AS flow_minutes,
    median(q_star_m3_h) AS q_star_m3_h, median(h_star_m) AS h_star_m, median(slip_m3_h) AS slip_m3_h, median(slip_fraction) AS slip_fraction,
    median(pump_index) AS pump_index, quantile_cont(pump_index, 0.25) AS index_p25, quantile_cont(pump_index, 0.75) AS index_p75,
    count(*) FILTER (q_m3_h IS NOT NULL AND discharge_kpa IS NOT NULL)::INTEGER AS system_minutes,
    regr_intercept(discharge_kpa, q_m3_h * q_m3_h) AS p0_kpa, regr_slope(discharge_kpa, q_m3_h * q_m3_h) AS k,
    (quantile_cont(q_m3_h, 0.95) FILTER (discharge_kpa IS NOT NULL) - quantile_cont(q_m3_h, 0.05) FILTER (discharge_kpa IS NOT NULL))
      / nullif(avg(q_m3_h) FILTER (discharge_kpa IS NOT NULL), 0) AS flow_span,
    sum(q_m3_h * dp_kpa / 3600.0) FILTER (power_kw IS NOT NULL) AS hydraulic_kw, sum(power_kw) FILTER (q_m3_h IS NOT NULL AND dp_kpa IS NOT NULL) AS power_kw
  FROM work.pump_minutes GROUP BY line, week_start_day
)
SELECT w.*, coalesce(d.index_days, 0) AS index_days, CASE WHEN d.index_days >= 3 THEN d.index_se END AS index_se
FROM weekly w LEFT JOIN daily d ON d.line = w.line AND d.week_start_day = w.week_start_day
ORDER BY w.line, w.week_start_day;
