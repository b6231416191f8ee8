-- question: Which inputs are behind each period at hand?
-- unit: -
-- grain: first and last operating day of a period (work table)
-- formula: first 12 hex digits of md5 over the sorted load ids of the operating days (and the ids of
--          decisions that made set-aside values count on them) and the plant file id, with the digests of loads it would read otherwise
-- source: this project
-- known limits: says that inputs differ, not how; a load counts for days that have minutes
CREATE OR REPLACE TABLE work.span_versions AS
WITH span AS (
  SELECT first_day, operating_day AS last_day FROM work.period_totals
  UNION SELECT first_day, last_day FROM work.long_spans
), behind AS (
  SELECT load_id, operating_day FROM load_days
  UNION ALL SELECT correction_id, operating_day FROM corrections_applied WHERE source = 'disposition'
), ends AS (SELECT min(operating_day) AS first_day, max(operating_day) AS last_day FROM minutes)
SELECT s.first_day, s.last_day,
  substr(md5(coalesce(string_agg(DISTINCT l.load_id, '' ORDER BY l.load_id), '') || (SELECT plant_file_id FROM work.plant_file)), 1, 12) AS data_version
FROM span s CROSS JOIN ends e
LEFT JOIN behind l ON l.operating_day BETWEEN greatest(s.first_day, e.first_day) AND least(s.last_day, e.last_day)
GROUP BY s.first_day, s.last_day;
