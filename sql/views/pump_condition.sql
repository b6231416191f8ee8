-- question: In what condition was each feed pump in each reporting week?
-- unit: in the names
-- grain: plant, pump, week
-- formula: pump_weeks (index against the commissioning reference, system curve), kpi_week (run hours, starts), line_day (dry run); hours since
--          service = the part of the runs between the last entry of the service log and the end of the week
-- source: as sql/tables/pump_weeks.sql; hours since service common practice, no source
-- known limits: hours since service have the resolution of runs, one minute; run hours before the data begin are not known: a flag says when an
--          entry is older; they reset by the service log only, never by a totaliser
CREATE OR REPLACE VIEW pump_condition AS
WITH week AS (
  SELECT k.plant, x.pump, k.week_start_day, k.line, s.pump_kind, k.period_end_utc, k.run_h, k.starts, k.processing_minutes, k.data_version
  FROM kpi_week k
  JOIN line_limits x ON x.plant = k.plant AND x.line = k.line
  JOIN line_settings s ON s.plant = k.plant AND s.line = k.line
), dry AS (
  SELECT w.plant, w.line, w.week_start_day, sum(d.dry_run_minutes)::INTEGER AS dry_run_minutes
  FROM week w JOIN line_day d ON d.plant = w.plant AND d.line = w.line AND d.operating_day BETWEEN w.week_start_day AND w.week_start_day + 6 GROUP BY ALL
), first_minute AS (
  SELECT plant, line, min(period_start_utc) AS first_utc FROM kpi_week GROUP BY plant, line
), entry AS (
  SELECT w.plant, w.line, w.week_start_day, w.period_end_utc, max(l.at_utc) AS service_utc, max(l.at_utc) FILTER (l.resets_overhaul) AS overhaul_utc
  FROM week w JOIN service_log l ON l.plant = w.plant AND l.line = w.line AND l.at_utc < w.period_end_utc GROUP BY ALL
), counted AS (
  SELECT e.plant, e.line, e.week_start_day, e.service_utc, e.overhaul_utc,
    coalesce(sum(greatest(0, date_diff('second', greatest(r.start_utc, e.service_utc), least(r.end_utc, e.period_end_utc)))), 0) / 3600.0 AS since_service_h,
    coalesce(sum(greatest(0, date_diff('second', greatest(r.start_utc, e.overhaul_utc), least(r.end_utc, e.period_end_utc)))), 0) / 3600.0 AS since_overhaul_h
  FROM entry e LEFT JOIN runs r ON r.plant = e.plant AND r.line = e.line AND r.start_utc < e.period_end_utc
    AND r.end_utc > least(e.service_utc, coalesce(e.overhaul_utc, e.service_utc))
  GROUP BY ALL
)
SELECT w.plant, w.pump, w.week_start_day, w.line, w.pump_kind, w.run_h, w.starts, d.dry_run_minutes,
  CASE WHEN c.service_utc IS NOT NULL THEN c.since_service_h END AS run_since_service_h,
  CASE WHEN c.overhaul_utc IS NOT NULL THEN c.since_overhaul_h END AS run_since_overhaul_h,
  c.service_utc < f.first_utc AS service_counted_from_data, c.overhaul_utc < f.first_utc AS overhaul_counted_from_data,
  w.processing_minutes, p.reference_day, coalesce(p.index_minutes, 0) AS index_minutes, coalesce(p.index_days, 0) AS index_days,
  p.flow_at_reference_speed_m3_h, p.head_at_reference_speed_m, p.wear_index, p.slip_flow_m3_h, p.slip_fraction, p.slip_index,
  p.index_p25, p.index_p75, p.index_se, p.index_u_systematic,
  CASE WHEN p.line IS NULL THEN 'no processing' ELSE p.index_reason END AS index_reason,
  p.system_p0_kpa, p.system_k, coalesce(p.system_minutes, 0) AS system_minutes,
  CASE WHEN p.line IS NULL THEN 'no processing' ELSE p.system_reason END AS system_reason,
  p.wire_to_water_pct, w.data_version
FROM week w
LEFT JOIN pump_weeks p ON p.plant = w.plant AND p.line = w.line AND p.week_start_day = w.week_start_day
LEFT JOIN dry d ON d.plant = w.plant AND d.line = w.line AND d.week_start_day = w.week_start_day
LEFT JOIN counted c ON c.plant = w.plant AND c.line = w.line AND c.week_start_day = w.week_start_day
LEFT JOIN first_minute f ON f.plant = w.plant AND f.line = w.line;
