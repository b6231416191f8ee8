-- question: Which published days changed later, by how much, when and why?
-- explains: late lab results, revisions, re-sent files, plant file changes; is_note_due where a published week moved by more than 2 %
-- param plant text = : plant id; empty for all
-- param kpi text = dose_active_kg_t: column of kpi_day; empty for all
-- param since date = 2026-01-01: changes that became known on this day or later
SELECT plant, line, operating_day, kpi, old_value, new_value, 100 * relative_change AS change_pct, change, cause, files, known_from_utc, is_note_due
FROM restatements
WHERE known_from_utc >= $since AND ($plant IS NULL OR plant = $plant) AND ($kpi IS NULL OR kpi = $kpi)
ORDER BY plant, line, operating_day, version;
