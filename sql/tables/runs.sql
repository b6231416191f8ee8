-- question: When did the feed pump run without a break?
-- unit: h
-- grain: line, running interval
-- formula: consecutive minutes in which the pump is on (run bit, else running state); cut by a minute off or unknown
-- source: common practice, no source
-- known limits: resolution of one minute
CREATE OR REPLACE TABLE work.runs AS
WITH marked AS (
  SELECT m.line, m.plant, m.minute_utc, m.operating_day, m.state,
    coalesce(CASE WHEN m.pump_run_coverage >= 0.5 THEN m.pump_run_share >= 0.5 END, CASE WHEN m.pump_run_coverage IS NULL THEN m.state IN ('idle running', 'start-up', 'processing') END) AS is_on
  FROM minutes m JOIN work.runs_span s ON m.line = s.line AND m.minute_utc >= s.from_utc - INTERVAL 1 MINUTE AND m.minute_utc < s.to_utc + INTERVAL 1 MINUTE
), edges AS (
  SELECT *, lag(is_on) OVER w AS was_on, lag(minute_utc) OVER w AS was_utc, lead(minute_utc) OVER w AS next_utc
  FROM marked WINDOW w AS (PARTITION BY line ORDER BY minute_utc)
), islands AS (
  SELECT *, sum(CASE WHEN is_on AND was_on IS NOT DISTINCT FROM true THEN 0 ELSE 1 END) OVER (PARTITION BY line ORDER BY minute_utc ROWS UNBOUNDED PRECEDING) AS island
  FROM edges
)
SELECT any_value(i.plant) AS plant, i.line, min(minute_utc) AS start_utc, max(minute_utc) + INTERVAL 1 MINUTE AS end_utc,
  arg_min(operating_day, minute_utc) AS operating_day,
  count(*) / 60.0 AS run_h,
  count(*) FILTER (state = 'processing') / 60.0 AS processing_h,
  arg_max(next_utc IS NULL, minute_utc) AND max(minute_utc) = (SELECT max(minute_utc) FROM work.last_minute) AS is_open,
  coalesce(arg_min({'k': was_on IS NOT NULL}, minute_utc).k, false) AS start_known
FROM islands i JOIN work.runs_span s ON s.line = i.line
WHERE is_on AND minute_utc >= s.from_utc AND minute_utc < s.to_utc
GROUP BY i.line, island
ORDER BY line, start_utc;
