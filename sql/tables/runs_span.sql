-- question: Which stretches of time must the runs be made anew for?
-- unit: -
-- grain: line, stretch (work table)
-- formula: neighbouring touched days are one stretch, widened to the ends of the known runs that cross or touch its edges; stretches that
--          then overlap or touch are one
-- source: this project
-- known limits: none
CREATE OR REPLACE TABLE work.runs_span AS
WITH island AS (
  SELECT operating_day, operating_day - (row_number() OVER (ORDER BY operating_day))::INTEGER AS no
  FROM work.touched_days
), edge AS (
  SELECT m.line, i.no, min(m.minute_utc) AS a, max(m.minute_utc) + INTERVAL 1 MINUTE AS b
  FROM minutes m JOIN island i ON i.operating_day = m.operating_day GROUP BY ALL
), widened AS (
  SELECT e.line,
    least(e.a, min(r.start_utc) FILTER (r.end_utc >= e.a AND r.start_utc <= e.b)) AS from_utc,
    greatest(e.b, max(r.end_utc) FILTER (r.end_utc >= e.a AND r.start_utc <= e.b)) AS to_utc
  FROM edge e LEFT JOIN runs r ON r.line = e.line GROUP BY e.line, e.no, e.a, e.b
), counted AS (
  SELECT
    *,
    max(to_utc) OVER (PARTITION BY line ORDER BY from_utc, to_utc ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS reached_utc
  FROM widened
), numbered AS (
  SELECT
    *,
    sum(CASE WHEN from_utc <= reached_utc THEN 0 ELSE 1 END) OVER (PARTITION BY line ORDER BY from_utc, to_utc) AS no
  FROM counted
)
SELECT line, min(from_utc) AS from_utc, max(to_utc) AS to_utc FROM numbered GROUP BY line, no ORDER BY line, from_utc;
