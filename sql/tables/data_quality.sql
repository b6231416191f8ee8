-- question: What share of the data did each role have on each day?
-- unit: shares, minutes
-- grain: line, operating day, role
-- formula: mean coverage; processing and lost minutes (the pump ran, a missing meter hides the state) covered for less than half; longest
--         run of minutes covered for less than half
-- source: common practice, no source
-- known limits: gaps are cut at the day's ends; coverage is summed in steps of 1e-9, which makes the sum exact in any order
CREATE OR REPLACE TABLE work.data_quality AS
WITH long AS (
  UNPIVOT (
    SELECT plant, line, operating_day, minute_utc,
      state = 'processing' OR is_lost(state, is_pump_running) AS is_processing,
      COLUMNS('.*_coverage') FROM minutes
    WHERE operating_day IN (SELECT operating_day FROM work.touched_days))
  ON COLUMNS('.*_coverage') INTO NAME column_name VALUE coverage
), gap AS (
  SELECT line, operating_day, column_name,
    epoch_us(minute_utc) // 60000000 - row_number() OVER (PARTITION BY line, operating_day, column_name ORDER BY minute_utc) AS island
  FROM long WHERE NOT is_covered(coverage)
), longest AS (
  SELECT line, operating_day, column_name, max(n)::INTEGER AS gap_min
  FROM (SELECT line, operating_day, column_name, count(*) AS n FROM gap GROUP BY line, operating_day, column_name, island)
  GROUP BY ALL
), corrected AS (
  SELECT line, operating_day, role || '_coverage' AS column_name, count(*)::INTEGER AS n FROM corrections_applied
  WHERE kind = 'reading' GROUP BY line, operating_day, role
), total AS (
  SELECT any_value(plant) AS plant, line, operating_day, column_name,
    count(*)::INTEGER AS minutes_seen,
    sum(coverage::DECIMAL(18, 9))::DOUBLE / count(*) AS covered_share,
    count(*) FILTER (is_processing)::INTEGER AS processing_minutes,
    count(*) FILTER (is_processing AND NOT is_covered(coverage))::INTEGER AS missing_processing_minutes
  FROM long GROUP BY line, operating_day, column_name
)
SELECT t.plant, t.line, t.operating_day, replace(t.column_name, '_coverage', '') AS role,
  t.minutes_seen, t.covered_share, t.processing_minutes, t.missing_processing_minutes,
  coalesce(g.gap_min, 0)::INTEGER AS longest_gap_min,
  coalesce(c.n, 0)::INTEGER AS corrected_readings,
  v.data_version
FROM total t
LEFT JOIN longest g ON g.line = t.line AND g.operating_day = t.operating_day AND g.column_name = t.column_name
LEFT JOIN corrected c ON c.line = t.line AND c.operating_day = t.operating_day AND c.column_name = t.column_name
LEFT JOIN work.span_versions v ON v.first_day = t.operating_day AND v.last_day = t.operating_day
ORDER BY t.line, t.operating_day, role;
