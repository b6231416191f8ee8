-- question: Which minutes of the days at hand lie in the planned times of their line?
-- unit: -
-- grain: line, planned minute (work table)
-- formula: weekday and minute of the day in plant time within a span of planned_times
-- source: this project
-- known limits: the repeated hour in autumn is planned twice, the lost hour in spring not at all; lines without planned times have no rows
CREATE OR REPLACE TABLE work.planned_minutes AS
WITH local AS (
  SELECT m.line, m.minute_utc, timezone(s.time_zone, m.minute_utc) AS at_local
  FROM minutes m JOIN line_settings s USING (line)
  WHERE m.line IN (SELECT line FROM planned_times) AND m.operating_day IN (SELECT operating_day FROM work.needed_days)
)
SELECT DISTINCT l.line, l.minute_utc
FROM local l
JOIN planned_times p ON p.line = l.line AND p.iso_weekday = isodow(l.at_local)
  AND hour(l.at_local) * 60 + minute(l.at_local) >= p.from_min
    AND hour(l.at_local) * 60 + minute(l.at_local) < p.to_min;
