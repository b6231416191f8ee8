-- question: Which were the ten longest episodes of each kind of flag?
-- explains: flags are advisory; times are plant time
-- param plant text = : plant id; empty for all
SELECT plant, line, detector, start_local, end_local, minutes, severity, sentence
FROM flags_local
WHERE $plant IS NULL OR plant = $plant
QUALIFY row_number() OVER (PARTITION BY plant, line, detector ORDER BY minutes DESC, start_utc) <= 10
ORDER BY plant, line, detector, minutes DESC;
