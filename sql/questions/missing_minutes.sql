-- question: Which signals are missing, for how much of the processing time, and in which longest gap?
-- explains: minutes covered for less than half count as missing
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT plant, line, role, sum(processing_minutes) AS processing_minutes, sum(missing_processing_minutes) AS missing_minutes,
  ratio_or_null(sum(missing_processing_minutes), sum(processing_minutes)) AS missing_share, max(longest_gap_min) AS longest_gap_min
FROM data_quality WHERE operating_day >= $since AND ($plant IS NULL OR plant = $plant)
GROUP BY ALL HAVING sum(processing_minutes) > 0 ORDER BY missing_share DESC;
