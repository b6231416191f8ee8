-- question: In what condition was each feed pump in each reporting week?
-- unit: in the names
-- grain: pump, week: the touched weeks made anew, and the weeks after them with their hours since service counted anew
-- formula: sql/tables/pump_minutes.sql (minute to index), sql/tables/pump_weeks.sql (weekly medians), sql/tables/service_hours.sql
-- source: affinity laws and slip, trade textbooks, from memory; the 5 h gate and the system curve's gates are common practice, no source
-- known limits: an index is shown against the commissioning test on this sludge, not against a water test; ragging lowers it as wear does
CREATE OR REPLACE TABLE work.pump_condition AS
WITH total AS (
  SELECT w.week_start_day, h.line, any_value(h.plant) AS plant, sum(h.run_h ORDER BY h.operating_day) AS run_h, sum(h.starts)::INTEGER AS starts,
    sum(d.dry_run_minutes)::INTEGER AS dry_run_minutes
  FROM work.touched_weeks w
  JOIN work.history_days h ON h.operating_day >= w.week_start_day AND h.operating_day < w.week_start_day + 7
  LEFT JOIN work.history_line_days d ON d.line = h.line AND d.operating_day = h.operating_day
  GROUP BY ALL
), gated AS (
  SELECT t.*, x.pump, s.pump_kind, coalesce(p.processing_minutes, 0) AS processing_minutes, b.measured_day,
    coalesce(p.index_minutes, 0) AS index_minutes, coalesce(p.index_days, 0) AS index_days,
    p.* EXCLUDE (line, week_start_day, processing_minutes, index_minutes, index_days),
    CASE
      WHEN coalesce(p.processing_minutes, 0) = 0 THEN 'no processing'
      WHEN b.no_reference IS NOT NULL THEN b.no_reference
      WHEN p.speed_minutes = 0 THEN 'pump speed not known'
      WHEN p.dp_minutes = 0 THEN 'pump pressures not known'
      WHEN p.flow_minutes = 0 THEN 'sludge flow not known'
      WHEN p.index_minutes < 300 THEN format('{} minutes within the windows of the reference, 300 needed', p.index_minutes)
    END AS index_reason,
    CASE
      WHEN coalesce(p.system_minutes, 0) < 100 THEN format('{} minutes with flow and discharge pressure, 100 needed', coalesce(p.system_minutes, 0))
      WHEN p.flow_span < 0.15 THEN format('flow spans {:.1f} % of its mean, 15 needed', 100.0 * p.flow_span)
    END AS system_reason
  FROM total t
  JOIN line_settings s ON s.line = t.line
  JOIN line_limits x ON x.line = t.line
  JOIN work.pump_spans b ON b.line = t.line AND b.week_start_day = t.week_start_day
  LEFT JOIN work.pump_weeks p ON p.line = t.line AND p.week_start_day = t.week_start_day
), made AS (
  SELECT g.plant, g.pump, g.week_start_day, g.line, g.pump_kind, g.run_h, g.starts, g.dry_run_minutes,
    g.processing_minutes, g.measured_day AS reference_day, g.index_minutes, g.index_days,
    CASE WHEN index_reason IS NULL AND pump_kind = 'rotodynamic' THEN q_star_m3_h END AS flow_at_reference_speed_m3_h,
    CASE WHEN index_reason IS NULL AND pump_kind = 'rotodynamic' THEN h_star_m END AS head_at_reference_speed_m,
    CASE WHEN index_reason IS NULL AND pump_kind = 'rotodynamic' THEN pump_index END AS wear_index,
    CASE WHEN index_reason IS NULL AND pump_kind = 'displacement' THEN slip_m3_h END AS slip_flow_m3_h,
    CASE WHEN index_reason IS NULL AND pump_kind = 'displacement' THEN slip_fraction END AS slip_fraction,
    CASE WHEN index_reason IS NULL AND pump_kind = 'displacement' THEN pump_index END AS slip_index,
    CASE WHEN index_reason IS NULL THEN index_p25 END AS index_p25, CASE WHEN index_reason IS NULL THEN index_p75 END AS index_p75,
    CASE WHEN index_reason IS NULL THEN index_se END AS index_se, index_reason,
    CASE WHEN system_reason IS NULL THEN p0_kpa END AS system_p0_kpa, CASE WHEN system_reason IS NULL THEN k END AS system_k,
    coalesce(system_minutes, 0) AS system_minutes, system_reason,
    CASE WHEN power_kw > 0 THEN 100.0 * hydraulic_kw / power_kw END AS wire_to_water_pct,
    v.data_version
  FROM gated g LEFT JOIN work.span_versions v ON v.first_day = g.week_start_day AND v.last_day = g.week_start_day + 6
  UNION ALL BY NAME
  SELECT c.* EXCLUDE (run_since_service_h, run_since_overhaul_h, service_counted_from_data, overhaul_counted_from_data) FROM pump_condition c
  WHERE week_start_day > (SELECT min(week_start_day) FROM work.touched_weeks) AND week_start_day NOT IN (SELECT week_start_day FROM work.touched_weeks)
)
SELECT m.plant, m.pump, m.week_start_day, m.line, m.pump_kind, m.run_h, m.starts, m.dry_run_minutes,
  h.run_since_service_h, h.run_since_overhaul_h, h.service_counted_from_data, h.overhaul_counted_from_data,
  m.* EXCLUDE (plant, pump, week_start_day, line, pump_kind, run_h, starts, dry_run_minutes)
FROM made m LEFT JOIN work.service_hours h ON h.line = m.line AND h.week_start_day = m.week_start_day
ORDER BY m.plant, m.pump, m.week_start_day;
