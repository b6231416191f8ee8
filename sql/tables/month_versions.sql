-- question: Which inputs are behind each month at hand?
-- unit: -
-- grain: month (work table)
-- formula: as span_versions: first 12 hex digits of md5 over the sorted load ids of the operating days and the plant file id; with the three
--          days before and after the month
-- source: this project
-- known limits: says that inputs differ, not how
CREATE OR REPLACE TABLE work.month_versions AS
WITH ends AS (SELECT min(operating_day) AS first_day, max(operating_day) AS last_day FROM minutes)
SELECT t.month_start_day,
  substr(md5(coalesce(string_agg(DISTINCT l.load_id, '' ORDER BY l.load_id), '') || (SELECT plant_file_id FROM work.plant_file)), 1, 12) AS data_version
FROM work.touched_months t CROSS JOIN ends e
LEFT JOIN load_days l
  ON l.operating_day BETWEEN greatest(t.month_start_day - 3, e.first_day) AND least(last_day(t.month_start_day) + 3, e.last_day)
GROUP BY t.month_start_day;
