-- question: How far can each day be trusted, and what is its weakest link?
-- explains: 100 x the smallest of completeness, lab coverage, validity, closure and timeliness; parts that are not known do not weigh
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT plant, line, operating_day, quality_score, weakest, parts_known, completeness, lab_coverage, validity, closure_part, closure_of, timeliness
FROM data_quality_score WHERE quality_score IS NOT NULL AND operating_day >= $since AND ($plant IS NULL OR plant = $plant)
ORDER BY plant, line, operating_day;
