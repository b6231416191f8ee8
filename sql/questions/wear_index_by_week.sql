-- question: How does the head of each rotodynamic pump stand against its commissioning curve, week by week?
-- explains: wear index at like flow and reference speed, feed TS within the window printed; the range is that of half of the minutes; null has its reason
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first day of the first week
SELECT c.plant, c.pump, c.week_start_day, c.wear_index, c.index_p25, c.index_p75, c.index_se, c.index_minutes / 60.0 AS index_h, c.index_days,
  m_h.window_ts AS ts_window, c.reference_day, m3_h_to_gpm(c.flow_at_reference_speed_m3_h) AS flow_at_reference_speed_gpm,
  m_to_ft(c.head_at_reference_speed_m) AS head_at_reference_speed_ft, c.index_reason
FROM pump_condition c
LEFT JOIN (
  SELECT plant, pump, measured_day, format('{:.2f}-{:.2f} %', ts_low_pct, ts_high_pct) AS window_ts FROM pump_baselines WHERE no_reference IS NULL
) m_h ON m_h.plant = c.plant AND m_h.pump = c.pump AND m_h.measured_day = c.reference_day
WHERE c.pump_kind = 'rotodynamic' AND c.week_start_day >= $since AND ($plant IS NULL OR c.plant = $plant)
ORDER BY c.plant, c.pump, c.week_start_day;
