-- question: How much energy went into each dry ton, week by week, pump and device apart?
-- explains: boundary: the drives that are metered, processing minutes; weeks from Monday
-- param plant text = : plant id; empty for all
WITH day AS (
  SELECT plant, line, operating_day, sum(pump_power_kw) / 60.0 AS pump_kwh, sum(device_power_kw) / 60.0 AS device_kwh
  FROM minutes WHERE state = 'processing' AND ($plant IS NULL OR plant = $plant) GROUP BY plant, line, operating_day)
SELECT k.plant, k.line, date_trunc('week', k.operating_day) AS week, sum(d.pump_kwh) AS pump_kwh, sum(d.device_kwh) AS device_kwh,
  sum(k.dry_solids_t) AS dry_solids_t, ratio_or_null(sum(d.pump_kwh), sum(k.dry_solids_t)) AS pump_kwh_t,
  ratio_or_null(sum(d.device_kwh), sum(k.dry_solids_t)) AS device_kwh_t
FROM kpi_day k JOIN day d USING (plant, line, operating_day)
GROUP BY ALL ORDER BY k.plant, k.line, week;
