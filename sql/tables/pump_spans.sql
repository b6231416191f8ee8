-- question: Which commissioning reference is each pump held against in each touched week?
-- unit: in the names
-- grain: line, week with minutes (work table)
-- formula: the reference in force at the last minute of the week
-- source: this project
-- known limits: none
CREATE OR REPLACE TABLE work.pump_spans AS
WITH ends AS (
  SELECT m.line, w.week_start_day, max(m.minute_utc) AS last_utc
  FROM work.touched_weeks w JOIN minutes m ON m.operating_day >= w.week_start_day AND m.operating_day < w.week_start_day + 7 GROUP BY ALL
)
SELECT e.week_start_day, b.* EXCLUDE (plant, to_utc, curve_rms_m)
FROM ends e JOIN pump_baselines b ON b.line = e.line AND e.last_utc >= b.from_utc AND e.last_utc < b.to_utc
ORDER BY b.line, e.week_start_day;
