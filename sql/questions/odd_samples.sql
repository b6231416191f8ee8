-- question: Which lab results are qualified, unused, odd or could not be placed?
-- explains: samples of days on which the line did not run, results with a qualifier, a note or out of use, the same result four times running, ticket numbers met on several days, and rows of lab sheets set aside
-- param plant text = : plant id; empty for all
SELECT plant, operating_day::VARCHAR AS day, sample_id, point || ' ' || analyte AS what, value::VARCHAR AS value,
  concat_ws('; ', unused_reason, 'qualifier ' || qualifier, note) AS why
FROM lab_results WHERE (qualifier IS NOT NULL OR note IS NOT NULL OR NOT is_used) AND ($plant IS NULL OR plant = $plant)
UNION ALL
SELECT r.plant, r.operating_day::VARCHAR, r.sample_id, r.point || ' ' || r.analyte, r.value::VARCHAR, 'the line did not run on this day: not counted'
FROM lab_results r JOIN kpi_day k ON k.plant = r.plant AND k.line = r.line AND k.operating_day = r.operating_day AND k.run_h = 0 AND k.unknown_minutes = 0
WHERE r.is_used AND r.time_basis IN ('stated', 'day') AND r.point IN ('feed', 'cake', 'filtrate') AND ($plant IS NULL OR r.plant = $plant)
UNION ALL
SELECT plant, first_day::VARCHAR, line, point || ' ' || analyte, value::VARCHAR, times || ' times running, until ' || last_day
FROM lab_repeats WHERE $plant IS NULL OR plant = $plant
UNION ALL
SELECT plant, min(operating_day)::VARCHAR, sample_id, any_value(point || ' ' || analyte), string_agg(value::VARCHAR, ', ' ORDER BY revision),
  'one number on several days, the last counts: two tickets?'
FROM lab_results_history WHERE analyte IN ('wet_mass', 'delivered_mass') AND ($plant IS NULL OR plant = $plant)
GROUP BY plant, sample_id, analyte HAVING count(DISTINCT operating_day) > 1
UNION ALL
SELECT s.plant, l.file_name, 'line ' || s.line_no, s.tags, s.raw_text, s.reason
FROM set_aside s JOIN loads l ON l.plant = s.plant AND l.load_id = s.load_id
WHERE l.first_utc IS NULL AND ($plant IS NULL OR s.plant = $plant) ORDER BY ALL;
