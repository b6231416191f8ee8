-- question: Which polymer outages were there, and what did cake and filtrate read in the two hours after?
-- explains: only samples with a stated time can be tied to an outage
-- param plant text = : plant id; empty for all
SELECT f.plant, f.line, f.start_local, f.minutes, l.point, l.analyte, avg(l.value) AS value, any_value(l.unit) AS unit, count(l.value) AS samples
FROM flags_local f LEFT JOIN lab_results l ON l.plant = f.plant AND l.line = f.line AND l.time_basis = 'stated'
  AND l.point IN ('cake', 'filtrate') AND l.from_utc BETWEEN f.start_utc AND f.end_utc + INTERVAL 2 HOUR
WHERE f.detector = 'polymer outage' AND ($plant IS NULL OR f.plant = $plant)
GROUP BY ALL ORDER BY f.plant, f.line, f.start_local;
