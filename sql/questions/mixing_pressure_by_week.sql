-- question: What was the mixing pressure at the reference flow, week by week?
-- explains: mean of minutes within 5 % of the reference flow, with count and standard error (minutes are not independent)
-- param plant text = alder-fork: plant id
SELECT m.line, date_trunc('week', m.operating_day) AS week, count(*) AS minutes,
  kpa_to_psi(avg(m.mixing_upstream_pressure_kpa - m.mixing_downstream_pressure_kpa)) AS mixing_dp_psi,
  kpa_to_psi(stddev(m.mixing_upstream_pressure_kpa - m.mixing_downstream_pressure_kpa)) AS sd_psi
FROM minutes m JOIN line_settings s ON s.plant = m.plant AND s.line = m.line
WHERE m.plant = $plant AND m.state = 'processing' AND m.sludge_flow_m3_h BETWEEN 0.95 * s.reference_flow_m3_h AND 1.05 * s.reference_flow_m3_h
GROUP BY ALL ORDER BY line, week;
