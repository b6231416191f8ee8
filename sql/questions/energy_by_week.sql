-- question: How much energy went into each dry ton, week by week, pump and device apart?
-- explains: energy and dry solids of the same minutes, as energy_kwh_t of kpi_week; boundary: the drives that are metered; pump and
-- explains: device are parted by their shares of the week's processing minutes in which every metered drive is known
-- param plant text = : plant id; empty for all
WITH drive AS (
  SELECT k.plant, k.line, k.week_start_day, sum(m.pump_power_kw) AS pump, sum(m.device_power_kw) AS device
  FROM kpi_week k JOIN minutes m ON m.plant = k.plant AND m.line = k.line AND m.operating_day BETWEEN k.week_start_day AND k.week_start_day + 6
  WHERE m.state = 'processing'
    AND is_covered(coalesce(m.pump_power_coverage, 1))
    AND is_covered(coalesce(m.device_power_coverage, 1))
    AND ($plant IS NULL OR k.plant = $plant)
  GROUP BY ALL)
SELECT k.plant, k.line, k.week_start_day, k.energy_kwh, k.energy_kwh * ratio_or_null(d.pump, coalesce(d.pump, 0) + coalesce(d.device, 0)) AS pump_kwh,
  k.energy_kwh * ratio_or_null(d.device, coalesce(d.pump, 0) + coalesce(d.device, 0)) AS device_kwh, k.energy_solids_t, k.energy_kwh_t,
  ratio_or_null(k.energy_kwh_t * pump_kwh, k.energy_kwh) AS pump_kwh_t, ratio_or_null(k.energy_kwh_t * device_kwh, k.energy_kwh) AS device_kwh_t
FROM kpi_week k JOIN drive d USING (plant, line, week_start_day)
ORDER BY k.plant, k.line, k.week_start_day;
