-- question: How does pump discharge pressure follow flow, month by month (P = P0 + k Q2)?
-- explains: least squares over processing minutes; a growing k is a closing line or valve
-- param plant text = alder-fork: plant id
SELECT line, date_trunc('month', operating_day) AS month, count(*) AS minutes,
  regr_intercept(pump_discharge_pressure_kpa, sludge_flow_m3_h * sludge_flow_m3_h) AS p0_kpa,
  regr_slope(pump_discharge_pressure_kpa, sludge_flow_m3_h * sludge_flow_m3_h) AS k_kpa_per_m3_h_squared,
  regr_r2(pump_discharge_pressure_kpa, sludge_flow_m3_h * sludge_flow_m3_h) AS r_squared
FROM minutes WHERE plant = $plant AND state = 'processing'
GROUP BY ALL ORDER BY line, month;
