-- question: How much energy went into each dry ton, week by week, pump and device apart?
-- explains: boundary: the drives that are metered, processing minutes
-- param plant text = : plant id; empty for all
SELECT m.plant, m.line, date_trunc('week', m.operating_day) AS week,
  sum(m.pump_power_kw) / 60.0 AS pump_kwh, sum(m.device_power_kw) / 60.0 AS device_kwh, any_value(d.dry_t) AS dry_solids_t,
  ratio_or_null(pump_kwh, any_value(d.dry_t)) AS pump_kwh_t, ratio_or_null(device_kwh, any_value(d.dry_t)) AS device_kwh_t
FROM minutes m JOIN (SELECT plant, line, date_trunc('week', operating_day) AS week, sum(dry_solids_t) AS dry_t FROM kpi_day GROUP BY ALL) d
  ON d.plant = m.plant AND d.line = m.line AND d.week = date_trunc('week', m.operating_day)
WHERE m.state = 'processing' AND ($plant IS NULL OR m.plant = $plant)
GROUP BY m.plant, m.line, date_trunc('week', m.operating_day) ORDER BY ALL;
