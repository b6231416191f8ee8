-- question: Which hours was a line running idle, and what did they use?
-- explains: pump or device on without sludge; water and energy of those minutes; hours in UTC, the longest first
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT
  plant,
  line,
  operating_day,
  date_trunc('hour', minute_utc) AS hour_utc,
  count(*) AS idle_min,
  sum(wash_water_flow_m3_h) / 60.0 AS wash_water_m3,
  sum(coalesce(pump_power_kw, 0) + coalesce(device_power_kw, 0)) / 60.0 AS energy_kwh
FROM minutes WHERE state = 'idle running' AND operating_day >= $since AND ($plant IS NULL OR plant = $plant)
GROUP BY ALL ORDER BY idle_min DESC, plant, line, hour_utc;
