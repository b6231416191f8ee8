-- question: Which lab results are qualified, unused, odd or could not be placed?
-- explains: results with a qualifier, a note or out of use, the same result four times running, ticket numbers met on several days, samples
-- explains: whose sheet has no other within 60 days (of three days or more: a slip of the year or month; rule of this project), and rows of lab sheets set aside
-- param plant text = : plant id; empty for all
SELECT plant, operating_day::VARCHAR AS day, sample_id, point || ' ' || analyte AS what, value::VARCHAR AS value,
  concat_ws('; ', unused_reason, 'qualifier ' || qualifier, note) AS why
FROM lab_results WHERE (qualifier IS NOT NULL OR note IS NOT NULL OR NOT is_used) AND ($plant IS NULL OR plant = $plant)
UNION ALL
SELECT plant, first_day::VARCHAR, line, point || ' ' || analyte, value::VARCHAR, times || ' times running, until ' || last_day
FROM lab_repeats WHERE $plant IS NULL OR plant = $plant
UNION ALL
SELECT plant, min(operating_day)::VARCHAR, sample_id, any_value(point || ' ' || analyte), string_agg(value::VARCHAR, ', ' ORDER BY revision),
  'one number on several days, the last counts: two tickets?'
FROM lab_results_history WHERE analyte IN ('wet_mass', 'delivered_mass') AND ($plant IS NULL OR plant = $plant)
GROUP BY plant, sample_id, analyte HAVING count(DISTINCT operating_day) > 1
UNION ALL
SELECT r.plant, r.operating_day::VARCHAR, r.sample_id, point || ' ' || analyte, value::VARCHAR, 'no other sample of its sheet within 60 days: is its date right?'
FROM lab_results r JOIN (
  SELECT *, count(*) OVER (PARTITION BY plant, load_id) AS days,
    least(operating_day - lag(operating_day) OVER w, lead(operating_day) OVER w - operating_day) AS apart
  FROM (SELECT DISTINCT plant, load_id, operating_day FROM lab_results) WINDOW w AS (PARTITION BY plant, load_id ORDER BY operating_day)
) d ON d.plant = r.plant AND d.load_id = r.load_id AND d.operating_day = r.operating_day
WHERE d.days >= 3 AND d.apart > 60 AND ($plant IS NULL OR r.plant = $plant)
UNION ALL
SELECT s.plant, l.file_name, 'line ' || s.line_no, s.tags, s.raw_text, s.reason
FROM set_aside s JOIN loads l ON l.plant = s.plant AND l.load_id = s.load_id
WHERE l.first_utc IS NULL AND ($plant IS NULL OR s.plant = $plant) ORDER BY ALL;
