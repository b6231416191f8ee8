-- question: When did the feed pump run without a break?
-- unit: h
-- grain: line, running interval
-- formula: consecutive minutes in which the pump is on (run bit, else running state); cut by a minute off or unknown. A whole day not at
--          hand inside a known run counts by its row in kpi_day: every minute of it is on, so that a run of months costs no months of minutes
-- source: common practice, no source
-- known limits: resolution of one minute
CREATE OR REPLACE TABLE work.runs AS
WITH whole AS (
  SELECT k.line, k.plant, k.operating_day,
    k.period_start_utc AS start_utc,
    k.period_end_utc AS end_utc,
    k.minutes_seen, k.processing_minutes, s.from_utc
  FROM kpi_day k
  JOIN runs r ON r.line = k.line AND r.start_utc <= k.period_start_utc AND r.end_utc >= k.period_end_utc
  JOIN work.runs_span s ON s.line = k.line AND s.from_utc <= k.period_start_utc AND s.to_utc >= k.period_end_utc
  WHERE k.operating_day NOT IN (SELECT operating_day FROM work.touched_days)
    AND k.period_end_utc - k.period_start_utc = to_minutes(k.minutes_seen)
), near AS (  -- operating days are labelled at most two days before and one after the UTC date: time zone and start of the day
  SELECT DISTINCT
    line,
    unnest(generate_series(from_utc::DATE - 3, to_utc::DATE + 2, INTERVAL 1 DAY))::DATE AS operating_day
  FROM work.runs_span
), looked_at AS (
  SELECT line, operating_day FROM near EXCEPT SELECT line, operating_day FROM whole
), marked AS (
  SELECT
    m.line,
    m.plant,
    m.minute_utc AS start_utc,
    m.minute_utc + INTERVAL 1 MINUTE AS end_utc,
    m.operating_day,
    1 AS minutes,
    (m.state = 'processing')::INTEGER AS processing_minutes,
    is_pump_on(m.pump_run_coverage, m.pump_run_share, m.state) AS is_on,
    s.from_utc
  FROM minutes m
  JOIN looked_at d ON d.line = m.line AND d.operating_day = m.operating_day
  JOIN work.runs_span s ON s.line = m.line
    AND m.minute_utc >= s.from_utc - INTERVAL 1 MINUTE
    AND m.minute_utc < s.to_utc
  WHERE m.operating_day IN (SELECT operating_day FROM looked_at)
  UNION ALL
  SELECT line, plant, start_utc, end_utc, operating_day, minutes_seen, processing_minutes, TRUE, from_utc FROM whole
), edges AS (
  SELECT *, lag(is_on) OVER (PARTITION BY line, from_utc ORDER BY start_utc) AS was_on FROM marked
), islands AS (
  SELECT
    *,
    sum(CASE WHEN is_on AND was_on THEN 0 ELSE 1 END) OVER (PARTITION BY line, from_utc ORDER BY start_utc ROWS UNBOUNDED PRECEDING) AS island
  FROM edges
  WHERE start_utc >= from_utc
)
SELECT any_value(plant) AS plant, line, min(start_utc) AS start_utc, max(end_utc) AS end_utc,
  min(operating_day) AS operating_day,
  sum(minutes) / 60.0 AS run_h,
  sum(processing_minutes) / 60.0 AS processing_h,
  max(end_utc) = (SELECT max(minute_utc) FROM minutes) + INTERVAL 1 MINUTE AS is_open,
  bool_or(was_on IS NOT NULL AND NOT was_on) AS start_known
FROM islands
WHERE is_on
GROUP BY line, from_utc, island
ORDER BY line, start_utc;
