-- question: Which flags were raised, what did they turn out to be, how precise is each detector, and when was the last true one?
-- explains: precision = confirmed / (confirmed + nuisance); null while nothing was decided; days count to the last published day
-- param plant text = : plant id; empty for all
-- param since date = 2000-01-01: first operating day, such as the start of a quarter
SELECT plant, line, detector, severity, count(*) AS flags, count(disposition) AS decided,
  ratio_or_null(count(*) FILTER (disposition = 'confirmed'), count(*) FILTER (disposition IN ('confirmed', 'nuisance'))) AS precision,
  max(f.operating_day) AS last_flag_day,
  any_value(k.last_day) - max(operating_day) FILTER (disposition = 'confirmed') AS days_since_confirmed
FROM flags f JOIN (SELECT plant, max(operating_day) AS last_day FROM kpi_day GROUP BY plant) k USING (plant)
WHERE operating_day >= $since AND ($plant IS NULL OR plant = $plant)
GROUP BY ALL ORDER BY flags DESC, plant, line, detector;
