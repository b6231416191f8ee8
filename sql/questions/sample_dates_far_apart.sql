-- question: Which lab samples lie far from all others of their sheet?
-- explains: samples of a sheet with three days or more whose nearest other day is more than 60 days away: a slip of the year or the month (rule of this project)
-- param plant text = : plant id; empty for all
WITH days AS (
  SELECT *, count(*) OVER (PARTITION BY plant, load_id) AS sheet_days,
    least(operating_day - lag(operating_day) OVER w, lead(operating_day) OVER w - operating_day) AS days_apart
  FROM (SELECT DISTINCT plant, load_id, operating_day FROM lab_results) WINDOW w AS (PARTITION BY plant, load_id ORDER BY operating_day)
)
SELECT r.plant, r.operating_day, r.sample_id, r.point, r.analyte, r.value, r.unit, l.file_name, d.days_apart
FROM lab_results r JOIN days d USING (plant, load_id, operating_day) JOIN loads l USING (plant, load_id)
WHERE d.sheet_days >= 3 AND d.days_apart > 60 AND ($plant IS NULL OR r.plant = $plant) ORDER BY ALL;
