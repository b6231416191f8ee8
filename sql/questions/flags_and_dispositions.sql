-- question: Which flags were raised, what did they turn out to be, and how precise is each detector?
-- explains: precision = confirmed / (confirmed + nuisance); null while nothing was decided
-- param plant text = : plant id; empty for all
SELECT plant, line, detector, severity, count(*) AS flags, count(disposition) AS decided,
  ratio_or_null(count(*) FILTER (disposition = 'confirmed'), count(*) FILTER (disposition IN ('confirmed', 'nuisance'))) AS precision, max(operating_day) AS last_day
FROM flags WHERE $plant IS NULL OR plant = $plant
GROUP BY ALL ORDER BY flags DESC;
