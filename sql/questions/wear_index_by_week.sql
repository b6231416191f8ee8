-- question: How does the head of each rotodynamic pump stand against its commissioning curve, week by week?
-- explains: wear index at like flow and reference speed, feed TS within the window printed; the range is that of half of the minutes; null has its reason.
-- explains: index_se is scatter of days, index_u_systematic the flow and pressure meters, which no mean lessens; above 20 % of the index none is told
-- caution: Before a pump is opened or tested: stop, isolate, relieve pressure and lock out; a line may stay under pressure behind a plug. Never
-- caution: run a pump dry or against a closed valve.
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first day of the first week
SELECT c.plant, c.pump, c.week_start_day, c.index_u_systematic IS NULL OR c.index_u_systematic <= 0.2 * c.wear_index AS is_known,
  CASE WHEN is_known THEN c.wear_index END AS wear_index,
  c.index_p25,
  c.index_p75,
  c.index_se,
  c.index_u_systematic,
  c.index_minutes / 60.0 AS index_h,
  c.index_days,
  m_h.window_ts AS ts_window, c.reference_day, m3_h_to_gpm(c.flow_at_reference_speed_m3_h) AS flow_at_reference_speed_gpm,
  m_to_ft(c.head_at_reference_speed_m) AS head_at_reference_speed_ft,
  CASE
    WHEN is_known THEN c.index_reason
    ELSE format('meters leave {:.0f} % of the index open, 20 is the most', 100.0 * c.index_u_systematic / c.wear_index) END AS index_reason
FROM pump_condition c
LEFT JOIN (
  SELECT plant, pump, measured_day, format('{:.2f}-{:.2f} %', ts_low_pct, ts_high_pct) AS window_ts FROM pump_baselines WHERE no_reference IS NULL
) m_h ON m_h.plant = c.plant AND m_h.pump = c.pump AND m_h.measured_day = c.reference_day
WHERE c.pump_kind = 'rotodynamic' AND c.week_start_day >= $since AND ($plant IS NULL OR c.plant = $plant)
ORDER BY c.plant, c.pump, c.week_start_day;
