-- question: What was the mixing pressure at the reference flow, week by week, and how far do its days scatter?
-- explains: mean of daily means of minutes within 5 % of the reference flow, gauges at their heights as in kpi_day; the interval (95 %, Student's t) is the
-- explains: scatter of days, since minutes are not independent, without the errors of the gauges: those are mixing_dp_kpa_u of kpi_day, and no mean lessens them
-- param plant text = alder-fork: plant id
WITH day AS (
  SELECT m.plant, m.line, m.operating_day, count(*) AS minutes,
    kpa_to_psi(avg(m.mixing_upstream_pressure_kpa - m.mixing_downstream_pressure_kpa - hydrostatic_kpa(s.mixing_elevation_m, s.sludge_sg))) AS psi
  FROM minutes m JOIN line_settings s ON s.plant = m.plant AND s.line = m.line
  WHERE m.plant = $plant AND m.state = 'processing' AND m.sludge_flow_m3_h BETWEEN 0.95 * s.reference_flow_m3_h AND 1.05 * s.reference_flow_m3_h
    AND is_covered(m.sludge_flow_coverage) AND is_covered(m.mixing_upstream_pressure_coverage) AND is_covered(m.mixing_downstream_pressure_coverage)
  GROUP BY ALL)
SELECT d.line, k.week_start_day, count(*) AS days, sum(d.minutes)::BIGINT AS minutes, avg(d.psi) AS mixing_dp_psi,
  t_975(count(*) - 1) * stddev_samp(d.psi) / sqrt(count(*)) AS day_scatter_half_psi
FROM day d JOIN kpi_week k ON k.plant = d.plant AND k.line = d.line AND d.operating_day BETWEEN k.week_start_day AND k.week_start_day + 6
GROUP BY ALL ORDER BY d.line, k.week_start_day;
