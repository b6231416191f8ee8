-- question: What was the mixing pressure at the reference flow, week by week, and how sure is it?
-- explains: mean of daily means of minutes within 5 % of the reference flow; the interval of 95 % goes by days, since minutes are not independent
-- param plant text = alder-fork: plant id
WITH day AS (
  SELECT m.line, m.operating_day, count(*) AS minutes, kpa_to_psi(avg(m.mixing_upstream_pressure_kpa - m.mixing_downstream_pressure_kpa)) AS psi
  FROM minutes m JOIN line_settings s ON s.plant = m.plant AND s.line = m.line
  WHERE m.plant = $plant AND m.state = 'processing' AND m.sludge_flow_m3_h BETWEEN 0.95 * s.reference_flow_m3_h AND 1.05 * s.reference_flow_m3_h
  GROUP BY ALL)
SELECT line, date_trunc('week', operating_day) AS week, count(psi) AS days, sum(minutes)::BIGINT AS minutes, avg(psi) AS mixing_dp_psi,
  2 * stddev(psi) / sqrt(count(psi)) AS plus_minus_psi
FROM day GROUP BY ALL ORDER BY line, week;
