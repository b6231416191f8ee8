-- question: What passed each line on each day in all its running minutes, start-up included?
-- unit: in the names
-- grain: line, operating day
-- formula: sums over running minutes with the meter covered for half or more; polymer as supplied = neat q/60 x density, or
--          solution q/60 x 1000 x strength/100 / active fraction, in all minutes; dry run = pump on and (Q < cut-off or Ps < minimum)
-- source: common practice, no source; 24 h for samples likewise
-- known limits: resolution of one minute; a feed-on is seen when the minute before is known not to be start-up
CREATE OR REPLACE TABLE work.line_day AS
WITH minute AS (
  SELECT m.plant, m.line, m.operating_day, m.minute_utc, m.state, s.feed_cutoff_m3_h, x.suction_minimum_kpa,
    is_pump_on(m.pump_run_coverage, m.pump_run_share, m.state) AS is_on,
    covered(greatest(m.sludge_flow_m3_h, 0.0), m.sludge_flow_coverage) AS q_m3_h,
    covered(m.pump_suction_pressure_kpa, m.pump_suction_pressure_coverage) AS suction_kpa,
    CASE s.polymer_meter
      WHEN 'neat' THEN covered(greatest(m.polymer_neat_flow_m3_h, 0.0) * p.density_kg_m3, m.polymer_neat_flow_coverage)
      ELSE covered(active_from_solution_kg_h(greatest(m.polymer_solution_flow_m3_h, 0.0),
        coalesce(covered(m.polymer_solution_strength_pct, m.polymer_solution_strength_coverage), p.solution_strength_pct))
        / p.active_fraction, m.polymer_solution_flow_coverage)
    END AS neat_kg_h,
    lag(m.state, 1, 'unknown') OVER (PARTITION BY m.line, m.operating_day ORDER BY m.minute_utc) AS state_before
  FROM minutes m
  JOIN line_settings s ON s.line = m.line
  LEFT JOIN line_limits x ON x.line = m.line
  LEFT JOIN polymers p ON p.line = m.line AND m.minute_utc >= p.from_utc AND m.minute_utc < p.to_utc
  WHERE m.operating_day IN (SELECT operating_day FROM work.touched_days)
  ORDER BY m.line, m.minute_utc
), sampled AS (
  SELECT line, operating_day,
    sum(feed_volume_m3) FILTER (ts_age_h <= 24.0) AS fresh_m3,
    sum(feed_volume_m3) AS valid_m3
  FROM work.minute_kpi
  GROUP BY line, operating_day
)
SELECT any_value(m.plant) AS plant, m.line, m.operating_day,
  count(*) FILTER (is_running(state))::INTEGER AS running_minutes,
  count(*) FILTER (is_running(state) AND q_m3_h IS NOT NULL)::INTEGER AS flow_known_minutes,
  count(*) FILTER (is_running(state) AND neat_kg_h IS NOT NULL)::INTEGER AS polymer_known_minutes,
  sum(q_m3_h / 60.0) FILTER (is_running(state)) AS fed_running_m3,
  sum(neat_kg_h / 60.0) AS polymer_neat_all_kg,
  CASE WHEN count(q_m3_h) + count(suction_kpa) > 0
    THEN count(*) FILTER (is_on AND (q_m3_h < feed_cutoff_m3_h OR suction_kpa < suction_minimum_kpa))::INTEGER END AS dry_run_minutes,
  min(minute_utc) FILTER (state = 'start-up' AND state_before NOT IN ('start-up', 'unknown')) AS feed_on_utc,
  ratio_or_null(coalesce(any_value(s.fresh_m3), 0.0), any_value(s.valid_m3)) AS lab_coverage,
  any_value(v.data_version) AS data_version
FROM minute m
LEFT JOIN sampled s ON s.line = m.line AND s.operating_day = m.operating_day
LEFT JOIN work.span_versions v ON v.first_day = m.operating_day AND v.last_day = m.operating_day
GROUP BY m.line, m.operating_day
ORDER BY m.line, m.operating_day;
