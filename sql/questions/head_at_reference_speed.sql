-- question: Which head does a rotodynamic pump give at the reference speed, week by week, in a window of feed solids?
-- explains: affinity laws; compare at like flow; falling head at like flow is wear, ragging or a drifting meter
-- caution: Before a pump is opened or tested: stop, isolate, relieve pressure and lock out; a line may stay under pressure behind a plug. Never
-- caution: run a pump dry or against a closed valve.
-- param plant text = alder-fork: plant id
-- param line text = line-1: line id
-- param speed number = 1180: reference speed, rpm
SELECT k.week_start_day, count(*) AS minutes,
  median(m_to_ft(speed_normalised_head(total_head_m(m.pump_discharge_pressure_kpa - m.pump_suction_pressure_kpa, s.sludge_sg, s.pump_elevation_m, m.sludge_flow_m3_h, s.suction_pipe_m, s.discharge_pipe_m), m.pump_speed_rpm, $speed))) AS head_ft,
  median(m3_h_to_gpm(speed_normalised_flow(m.sludge_flow_m3_h, m.pump_speed_rpm, $speed))) AS flow_gpm
FROM minutes m JOIN line_settings s ON s.plant = m.plant AND s.line = m.line
  JOIN kpi_week k ON k.plant = m.plant AND k.line = m.line AND m.operating_day BETWEEN k.week_start_day AND k.week_start_day + 6
WHERE m.plant = $plant AND m.line = $line AND m.state = 'processing' AND s.pump_kind = 'rotodynamic' AND m.pump_speed_rpm > 0.5 * $speed
GROUP BY ALL ORDER BY k.week_start_day;
