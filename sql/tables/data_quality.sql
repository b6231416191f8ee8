-- question: What share of the data did each role have on each day?
-- unit: shares, minutes
-- grain: line, operating day, role
-- formula: mean coverage; processing minutes covered for less than half; longest run of minutes covered for less than half
-- source: common practice, no source
-- known limits: gaps are cut at the day's ends
CREATE OR REPLACE TABLE work.data_quality AS
WITH long AS (
  UNPIVOT (SELECT plant, line, operating_day, minute_utc, state, COLUMNS('.*_coverage') FROM minutes WHERE operating_day IN (SELECT operating_day FROM work.touched_days))
  ON COLUMNS('.*_coverage') INTO NAME column_name VALUE coverage
), marked AS (
  SELECT *, replace(column_name, '_coverage', '') AS role, coverage < 0.5 AS is_gap,
    row_number() OVER (PARTITION BY line, operating_day, column_name ORDER BY minute_utc)
      - row_number() OVER (PARTITION BY line, operating_day, column_name, coverage < 0.5 ORDER BY minute_utc) AS island
  FROM long
), gaps AS (
  SELECT line, operating_day, role, max(n) AS longest FROM (
    SELECT line, operating_day, role, island, count(*) AS n FROM marked WHERE is_gap GROUP BY ALL) GROUP BY ALL
), sorted AS (SELECT * FROM marked ORDER BY line, operating_day, role, minute_utc)
SELECT any_value(plant) AS plant, m.line, m.operating_day, m.role,
  count(*)::INTEGER AS minutes_seen,
  avg(coverage) AS covered_share,
  count(*) FILTER (state = 'processing')::INTEGER AS processing_minutes,
  count(*) FILTER (state = 'processing' AND is_gap)::INTEGER AS missing_processing_minutes,
  coalesce(any_value(g.longest), 0)::INTEGER AS longest_gap_min,
  any_value(v.data_version) AS data_version
FROM sorted m
LEFT JOIN gaps g ON g.line = m.line AND g.operating_day = m.operating_day AND g.role = m.role
LEFT JOIN work.day_versions v ON v.operating_day = m.operating_day
GROUP BY m.line, m.operating_day, m.role
ORDER BY m.line, m.operating_day, m.role;
