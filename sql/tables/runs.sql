-- question: When did the feed pump run without a break?
-- unit: h
-- grain: line, running interval
-- formula: consecutive minutes in which the pump is on (run bit, else running state); cut by a minute off or unknown
-- source: common practice, no source
-- known limits: resolution of one minute
CREATE OR REPLACE TABLE work.runs AS
WITH near AS (  -- operating days are labelled at most two days before and one after the UTC date: time zone and start of the day
  SELECT DISTINCT unnest(generate_series(from_utc::DATE - 3, to_utc::DATE + 2, INTERVAL 1 DAY))::DATE AS operating_day FROM work.runs_span
), marked AS (
  SELECT m.line, m.plant, m.minute_utc, m.operating_day, m.state = 'processing' AS is_processing, s.from_utc, s.to_utc,
    is_pump_on(m.pump_run_coverage, m.pump_run_share, m.state) AS is_on
  FROM minutes m
  JOIN work.runs_span s ON s.line = m.line AND m.minute_utc >= s.from_utc - INTERVAL 1 MINUTE AND m.minute_utc < s.to_utc
  WHERE m.operating_day IN (SELECT operating_day FROM near)
), edges AS (
  SELECT *, lag(is_on) OVER (PARTITION BY line, from_utc ORDER BY minute_utc) AS was_on FROM marked
), islands AS (
  SELECT *, sum(CASE WHEN is_on AND was_on THEN 0 ELSE 1 END) OVER (PARTITION BY line, from_utc ORDER BY minute_utc ROWS UNBOUNDED PRECEDING) AS island
  FROM edges
  WHERE minute_utc >= from_utc
)
SELECT any_value(plant) AS plant, line, min(minute_utc) AS start_utc, max(minute_utc) + INTERVAL 1 MINUTE AS end_utc,
  min(operating_day) AS operating_day,
  count(*) / 60.0 AS run_h,
  count(*) FILTER (is_processing) / 60.0 AS processing_h,
  max(minute_utc) = (SELECT max(minute_utc) FROM minutes) AS is_open,
  bool_or(was_on IS NOT NULL AND NOT was_on) AS start_known
FROM islands
WHERE is_on
GROUP BY line, from_utc, island
ORDER BY line, start_utc;
