-- question: Which inputs are behind each day?
-- unit: -
-- grain: operating day (work table)
-- formula: first 12 hex digits of md5 over the sorted load ids of the day and the plant file id
-- source: this project
-- known limits: says that inputs differ, not how
CREATE OR REPLACE TABLE work.day_versions AS
SELECT d.operating_day,
  substr(md5(coalesce(string_agg(l.load_id, '' ORDER BY l.load_id), '') || (SELECT plant_file_id FROM work.plant_file)), 1, 12) AS data_version
FROM work.needed_days d LEFT JOIN load_days l USING (operating_day)
GROUP BY d.operating_day;
