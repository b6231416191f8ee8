-- question: Which rows were set aside, by reason and file, and what became of them?
-- explains: every refused row is kept with its text; dispositions are added later; by the day the file was received
-- param plant text = : plant id; empty for all
-- param since date = 2000-01-01: files received on this day (UTC) or later
-- param until date = 2100-01-01: files received before this day (UTC)
SELECT s.plant, l.file_name, s.reason, s.disposition, count(*) AS rows, min(s.line_no) AS first_line, any_value(s.detail) AS example
FROM set_aside s JOIN loads l ON l.plant = s.plant AND l.load_id = s.load_id
WHERE l.received_utc >= $since AND l.received_utc < $until AND ($plant IS NULL OR s.plant = $plant)
GROUP BY ALL ORDER BY rows DESC, s.plant, l.file_name, s.reason;
