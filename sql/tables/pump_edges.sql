-- question: In which minutes of the days at hand did the feed pump start or stop?
-- unit: -
-- grain: line, minute with a start or a stop (work table)
-- formula: start: on, where the last known minute of the 24 h before was off; stop: off, where it was on; both count at the first minute known
--          after a hole; a run is short when it lasted less than 10 whole minutes from a known start to its stop
-- source: common practice, no source
-- known limits: resolution of one minute, so that no debouncing is needed; a run cut by an unknown minute is not judged; an off and on
--               again inside a hole is not seen; the first minute of the data is never an edge
CREATE OR REPLACE TABLE work.pump_edges AS
WITH marked AS (
  SELECT line, minute_utc, operating_day, is_pump_on(pump_run_coverage, pump_run_share, state) AS is_on FROM minutes
  WHERE operating_day IN (SELECT operating_day FROM work.needed_days UNION SELECT operating_day - 1 FROM work.needed_days)
), edged AS (
  SELECT line, minute_utc, operating_day,
    last_value(is_on IGNORE NULLS) OVER known AS was_on,
    is_on AND NOT was_on AS is_start,
    NOT is_on AND was_on AS is_stop,
    max(CASE WHEN is_on IS NOT true THEN minute_utc END) OVER earlier AS last_not_on_utc,
    max(CASE WHEN is_on IS NULL THEN minute_utc END) OVER earlier AS last_unknown_utc
  FROM marked
  WINDOW known AS (PARTITION BY line ORDER BY minute_utc ROWS BETWEEN 1440 PRECEDING AND 1 PRECEDING),
    earlier AS (PARTITION BY line ORDER BY minute_utc ROWS BETWEEN 10 PRECEDING AND 1 PRECEDING)
)
SELECT line, minute_utc, coalesce(is_start, false) AS is_start, coalesce(is_stop, false) AS is_stop,
  coalesce(is_stop, false) AND last_not_on_utc >= minute_utc - INTERVAL 10 MINUTE AND last_unknown_utc
    IS DISTINCT FROM last_not_on_utc AS is_short_run
FROM edged
WHERE (is_start OR is_stop) AND operating_day IN (SELECT operating_day FROM work.needed_days);
