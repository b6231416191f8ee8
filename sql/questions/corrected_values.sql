-- question: How many values were corrected on each day, by whom and why?
-- explains: counts of corrections_applied; it keeps the raw value beside the one that counts
-- param plant text = : plant id; empty for all
SELECT plant, operating_day, line, kind, coalesce(role, analyte) AS what, correction_id, source, action, is_applied, who, any_value(reason) AS reason,
  count(*) AS corrected, min(raw_value) AS lowest_raw, max(raw_value) AS highest_raw
FROM corrections_applied WHERE $plant IS NULL OR plant = $plant
GROUP BY ALL ORDER BY operating_day DESC, line, corrected DESC;
