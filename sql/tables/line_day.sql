-- question: What passed each line on each day in all its running minutes, and how good are the day's data?
-- unit: in the names
-- grain: line, operating day
-- formula: sums over running minutes with the meter covered for half or more; polymer as supplied = neat q/60 x density, or
--          solution q/60 x 1000 x strength/100 / active fraction, in all minutes; dry run = pump on and (Q < cut-off or Ps < minimum)
-- source: common practice, no source; 24 h for samples and files likewise
-- known limits: start-up loss rests on grab samples with a time and is an upper bound; validity is that of whole loads, not of the day alone;
--          a file counts as bringing a day's end when its last reading lies within the hour before it or later
CREATE OR REPLACE TABLE work.line_day AS
WITH minute AS (
  SELECT m.plant, m.line, m.operating_day, m.minute_utc, m.state, is_running(m.state) AS is_on_line,
    is_pump_on(m.pump_run_coverage, m.pump_run_share, m.state) AS is_on,
    CASE WHEN m.sludge_flow_coverage >= 0.5 THEN greatest(m.sludge_flow_m3_h, 0.0) END AS q_m3_h,
    CASE WHEN m.pump_suction_pressure_coverage >= 0.5 THEN m.pump_suction_pressure_kpa END AS suction_kpa,
    s.feed_cutoff_m3_h, x.suction_minimum_kpa, x.cake_at_least_pct, x.data_layouts,
    CASE s.polymer_meter
      WHEN 'neat' THEN CASE WHEN m.polymer_neat_flow_coverage >= 0.5 THEN greatest(m.polymer_neat_flow_m3_h, 0.0) * p.density_kg_m3 END
      ELSE CASE WHEN m.polymer_solution_flow_coverage >= 0.5 THEN active_from_solution_kg_h(greatest(m.polymer_solution_flow_m3_h, 0.0),
        coalesce(CASE WHEN m.polymer_solution_strength_coverage >= 0.5 THEN m.polymer_solution_strength_pct END, p.solution_strength_pct))
        / p.active_fraction END
    END AS neat_kg_h
  FROM minutes m
  JOIN line_settings s ON s.line = m.line
  LEFT JOIN line_limits x ON x.line = m.line
  LEFT JOIN polymers p ON p.line = m.line AND m.minute_utc >= p.from_utc AND m.minute_utc < p.to_utc
  WHERE m.operating_day IN (SELECT operating_day FROM work.touched_days)
  ORDER BY m.line, m.minute_utc
), edged AS (
  SELECT *, state = 'start-up' AND lag(state, 1, 'unknown') OVER (PARTITION BY line, operating_day ORDER BY minute_utc) NOT IN ('start-up', 'unknown')
    AS is_feed_on
  FROM minute
), summed AS (
  SELECT any_value(plant) AS plant, line, operating_day,
    count(*) FILTER (is_on_line)::INTEGER AS running_minutes,
    count(*) FILTER (is_on_line AND q_m3_h IS NOT NULL)::INTEGER AS flow_known_minutes,
    count(*) FILTER (is_on_line AND neat_kg_h IS NOT NULL)::INTEGER AS polymer_known_minutes,
    sum(q_m3_h / 60.0) FILTER (is_on_line) AS fed_running_m3,
    sum(neat_kg_h / 60.0) AS polymer_neat_all_kg,
    CASE WHEN count(q_m3_h) + count(suction_kpa) > 0
      THEN count(*) FILTER (is_on AND (q_m3_h < feed_cutoff_m3_h OR suction_kpa < suction_minimum_kpa))::INTEGER END AS dry_run_minutes,
    min(minute_utc) FILTER (is_feed_on) AS feed_on_utc,
    max(minute_utc) + INTERVAL 1 MINUTE AS end_utc,
    any_value(cake_at_least_pct) AS cake_at_least_pct, any_value(data_layouts) AS data_layouts
  FROM edged GROUP BY line, operating_day
), cake AS (
  SELECT t.line, t.operating_day, count(*) AS timed,
    date_diff('second', t.feed_on_utc, min(l.from_utc) FILTER (l.from_utc >= t.feed_on_utc)) / 60.0 AS first_min,
    date_diff('second', t.feed_on_utc, min(l.from_utc) FILTER (l.from_utc >= t.feed_on_utc AND l.value >= t.cake_at_least_pct)) / 60.0 AS in_band_min
  FROM summed t
  JOIN lab_results l ON l.line = t.line AND l.operating_day = t.operating_day AND l.point = 'cake' AND l.analyte = 'ts' AND l.time_basis = 'stated' AND l.is_used
  GROUP BY t.line, t.operating_day, t.feed_on_utc
), sampled AS (
  SELECT line, operating_day, sum(fed_m3) FILTER (ts_age_h <= 24.0) AS fresh_m3, sum(fed_m3) AS valid_m3
  FROM work.minute_kpi WHERE operating_day IN (SELECT operating_day FROM work.touched_days) GROUP BY line, operating_day
), day_end AS (
  SELECT operating_day, max(end_utc) AS end_utc, any_value(data_layouts) AS data_layouts FROM summed GROUP BY operating_day
), loaded AS (
  SELECT d.operating_day,
    1.0 - ratio_or_null(sum(f.values_set_aside), sum(f.values_read)) AS validity,
    CASE WHEN d.end_utc + INTERVAL 24 HOUR >= (SELECT min(received_utc) FROM loads WHERE first_utc IS NOT NULL)
        AND d.data_layouts > 0
      THEN least(1.0, count(DISTINCT f.layout) FILTER (f.first_utc IS NOT NULL AND f.received_utc <= d.end_utc + INTERVAL 24 HOUR
        AND f.last_utc >= d.end_utc - INTERVAL 1 HOUR) / d.data_layouts) END AS timeliness
  FROM day_end d
  LEFT JOIN load_days l ON l.operating_day = d.operating_day
  LEFT JOIN loads f ON f.load_id = l.load_id
  GROUP BY d.operating_day, d.end_utc, d.data_layouts
)
SELECT t.plant, t.line, t.operating_day, t.running_minutes, t.flow_known_minutes, t.polymer_known_minutes, t.fed_running_m3, t.polymer_neat_all_kg,
  t.dry_run_minutes,
  CASE WHEN c.first_min <= 120.0 THEN c.in_band_min END AS startup_to_band_min,
  CASE
    WHEN startup_to_band_min IS NOT NULL THEN NULL
    WHEN t.feed_on_utc IS NULL THEN 'no feed-on on this day'
    WHEN t.cake_at_least_pct IS NULL THEN 'no cake target in the plant file'
    WHEN coalesce(c.timed, 0) = 0 THEN 'no cake sample with a time of day'
    WHEN c.in_band_min IS NULL THEN 'no timed cake sample in band after feed-on'
    ELSE format('first timed cake sample {:.0f} min after feed-on, 120 at most', c.first_min)
  END AS startup_reason,
  ratio_or_null(coalesce(s.fresh_m3, 0.0), s.valid_m3) AS lab_coverage,
  f.validity, f.timeliness, v.data_version
FROM summed t
LEFT JOIN cake c ON c.line = t.line AND c.operating_day = t.operating_day
LEFT JOIN sampled s ON s.line = t.line AND s.operating_day = t.operating_day
LEFT JOIN loaded f ON f.operating_day = t.operating_day
LEFT JOIN work.span_versions v ON v.first_day = t.operating_day AND v.last_day = t.operating_day
ORDER BY t.line, t.operating_day;
