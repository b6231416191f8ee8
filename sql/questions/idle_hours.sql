-- question: Which hours was a line running idle, and what did they use?
-- explains: pump or device on without sludge; water and energy of those minutes
-- param plant text = : plant id; empty for all
SELECT plant, line, operating_day, count(*) / 60.0 AS idle_h, sum(wash_water_flow_m3_h) / 60.0 AS wash_water_m3,
  sum(coalesce(pump_power_kw, 0) + coalesce(device_power_kw, 0)) / 60.0 AS energy_kwh
FROM minutes WHERE state = 'idle running' AND ($plant IS NULL OR plant = $plant)
GROUP BY ALL ORDER BY idle_h DESC;
