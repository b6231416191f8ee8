-- question: In what condition was each feed pump in each reporting week?
-- unit: in the names
-- grain: plant, line, pump, week
-- formula: pump_weeks (index against the commissioning reference, system curve), kpi_week (run hours, starts), pump_spans (which pump), line_day (dry run); hours since
--          service = the part of the runs between the last entry of the service log and the end of the week; the unknown hours are those of the days
--          (kpi_day.run_unknown_h) that overlap the span: a run hour figure lies between itself and itself + its unknown hours
-- source: as sql/tables/pump_weeks.sql; hours since service common practice, no source
-- known limits: hours since service have the resolution of runs, one minute; run hours before the data begin are not known: a flag says when an
--          entry is older; they reset by the service log only, never by a totaliser; a pump in service for a part of the week has the part of the
--          runs in it; dry run of a day counts for the pump in service when the day began
CREATE OR REPLACE VIEW pump_condition AS
WITH serving AS (
  SELECT
    k.plant,
    k.line,
    k.week_start_day,
    p.pump,
    p.pump_kind,
    k.period_end_utc,
    k.run_h,
    k.starts,
    k.processing_minutes,
    k.data_version,
    p.from_utc <= k.period_start_utc AND p.to_utc >= k.period_end_utc AS is_whole_week,
    greatest(p.from_utc, k.period_start_utc) AS from_utc, least(p.to_utc, k.period_end_utc) AS to_utc
  FROM kpi_week k
  JOIN pump_spans p ON p.plant = k.plant
    AND p.line = k.line
    AND p.from_utc < k.period_end_utc
    AND p.to_utc > k.period_start_utc
), part AS (
  SELECT v.plant, v.line, v.pump, v.week_start_day,
    coalesce(sum(date_diff('second', greatest(r.start_utc, v.from_utc), least(r.end_utc, v.to_utc))), 0) / 3600.0 AS run_h,
    count(*) FILTER (r.start_known AND r.start_utc >= v.from_utc)::INTEGER AS starts
  FROM serving v
  LEFT JOIN runs r ON r.plant = v.plant AND r.line = v.line AND r.start_utc < v.to_utc AND r.end_utc > v.from_utc
  WHERE NOT v.is_whole_week GROUP BY ALL
), week AS (
  SELECT
    v.plant,
    v.line,
    v.pump,
    v.week_start_day,
    any_value(v.pump_kind) AS pump_kind,
    any_value(v.period_end_utc) AS period_end_utc,
    any_value(coalesce(x.run_h, v.run_h)) AS run_h, any_value(coalesce(x.starts, v.starts)) AS starts,
    any_value(v.processing_minutes) FILTER (v.is_whole_week) AS processing_minutes,
    any_value(v.data_version) AS data_version
  FROM serving v
  LEFT JOIN part x ON x.plant = v.plant AND x.line = v.line AND x.pump = v.pump AND x.week_start_day = v.week_start_day
  GROUP BY v.plant, v.line, v.pump, v.week_start_day
), dry AS (
  SELECT v.plant, v.line, v.pump, v.week_start_day, sum(d.dry_run_minutes)::INTEGER AS dry_run_minutes
  FROM serving v
  JOIN line_day d ON d.plant = v.plant
    AND d.line = v.line
    AND d.operating_day BETWEEN v.week_start_day AND v.week_start_day + 6
  LEFT JOIN kpi_day y ON y.plant = d.plant AND y.line = d.line AND y.operating_day = d.operating_day
  WHERE v.is_whole_week OR (y.period_start_utc >= v.from_utc AND y.period_start_utc < v.to_utc) GROUP BY ALL
), first_minute AS (
  SELECT plant, line, min(period_start_utc) AS first_utc FROM kpi_week GROUP BY plant, line
), entry AS (
  SELECT w.plant, w.line, w.pump, w.week_start_day, w.period_end_utc,
    max(l.at_utc) AS service_utc, max(l.at_utc) FILTER (l.resets_overhaul) AS overhaul_utc
  FROM week w
  JOIN service_log l ON l.plant = w.plant AND l.line = w.line AND l.pump = w.pump AND l.at_utc < w.period_end_utc
  GROUP BY ALL
), served AS (
  SELECT
    e.*,
    greatest(r.start_utc, p.from_utc) AS run_from_utc,
    least(r.end_utc, p.to_utc, e.period_end_utc) AS run_to_utc
  FROM entry e
  JOIN pump_spans p ON p.plant = e.plant AND p.line = e.line AND p.pump = e.pump
  LEFT JOIN runs r ON r.plant = e.plant
    AND r.line = e.line
    AND r.start_utc < least(p.to_utc, e.period_end_utc)
    AND r.end_utc > p.from_utc
    AND r.end_utc > least(e.service_utc, coalesce(e.overhaul_utc, e.service_utc))
), counted AS (
  SELECT plant, line, pump, week_start_day, service_utc, overhaul_utc,
    coalesce(sum(greatest(0, date_diff('second', greatest(run_from_utc, service_utc), run_to_utc))), 0) / 3600.0 AS since_service_h,
    coalesce(sum(greatest(0, date_diff('second', greatest(run_from_utc, overhaul_utc), run_to_utc))), 0) / 3600.0 AS since_overhaul_h
  FROM served GROUP BY ALL
), unknown AS (
  SELECT k.plant, k.line, p.pump, k.operating_day, k.period_start_utc, k.period_end_utc, k.run_unknown_h
  FROM kpi_day k
  JOIN pump_spans p ON p.plant = k.plant AND p.line = k.line AND p.from_utc < k.period_end_utc AND p.to_utc > k.period_start_utc
  WHERE k.run_unknown_h > 0
), not_known AS (
  SELECT w.plant, w.line, w.pump, w.week_start_day,
    sum(u.run_unknown_h ORDER BY u.operating_day) FILTER (u.operating_day BETWEEN w.week_start_day AND w.week_start_day + 6) AS week_h,
    sum(u.run_unknown_h ORDER BY u.operating_day) FILTER (u.period_end_utc > c.service_utc) AS since_service_h,
    sum(u.run_unknown_h ORDER BY u.operating_day) FILTER (u.period_end_utc > c.overhaul_utc) AS since_overhaul_h
  FROM week w
  JOIN unknown u ON u.plant = w.plant AND u.line = w.line AND u.pump = w.pump AND u.period_start_utc < w.period_end_utc
  LEFT JOIN counted c ON c.plant = w.plant AND c.line = w.line AND c.pump = w.pump AND c.week_start_day = w.week_start_day
  GROUP BY ALL
)
SELECT w.plant, w.pump, w.week_start_day, w.line, w.pump_kind,
  w.run_h, coalesce(n.week_h, 0.0) AS run_unknown_h, w.starts, d.dry_run_minutes,
  CASE WHEN c.service_utc IS NOT NULL THEN c.since_service_h END AS run_since_service_h,
  CASE WHEN c.overhaul_utc IS NOT NULL THEN c.since_overhaul_h END AS run_since_overhaul_h,
  CASE WHEN c.service_utc IS NOT NULL THEN coalesce(n.since_service_h, 0.0) END AS run_since_service_unknown_h,
  CASE WHEN c.overhaul_utc IS NOT NULL THEN coalesce(n.since_overhaul_h, 0.0) END AS run_since_overhaul_unknown_h,
  c.service_utc < f.first_utc AS service_counted_from_data, c.overhaul_utc < f.first_utc AS overhaul_counted_from_data,
  coalesce(w.processing_minutes, p.processing_minutes, 0) AS processing_minutes,
  p.reference_day,
  coalesce(p.index_minutes, 0) AS index_minutes,
  coalesce(p.index_days, 0) AS index_days,
  p.flow_at_reference_speed_m3_h,
  p.head_at_reference_speed_m,
  p.wear_index,
  p.slip_flow_m3_h,
  p.slip_fraction,
  p.slip_index,
  p.index_p25, p.index_p75, p.index_se, p.index_u_systematic,
  CASE WHEN p.line IS NULL THEN 'no processing' ELSE p.index_reason END AS index_reason,
  p.system_p0_kpa, p.system_k, coalesce(p.system_minutes, 0) AS system_minutes,
  CASE WHEN p.line IS NULL THEN 'no processing' ELSE p.system_reason END AS system_reason,
  p.wire_to_water_pct, w.data_version
FROM week w
LEFT JOIN pump_weeks p ON p.plant = w.plant
  AND p.line = w.line
  AND p.pump = w.pump
  AND p.week_start_day = w.week_start_day
LEFT JOIN dry d ON d.plant = w.plant AND d.line = w.line AND d.pump = w.pump AND d.week_start_day = w.week_start_day
LEFT JOIN counted c ON c.plant = w.plant AND c.line = w.line AND c.pump = w.pump AND c.week_start_day = w.week_start_day
LEFT JOIN not_known n ON n.plant = w.plant AND n.line = w.line AND n.pump = w.pump AND n.week_start_day = w.week_start_day
LEFT JOIN first_minute f ON f.plant = w.plant AND f.line = w.line;
