-- question: What was decided about set-aside rows and flags, by which role, and is the row or flag still there?
-- explains: the last decision on a row or flag stands; a flag that data since moved or took away leaves its decision without it
-- param plant text = : plant id; empty for all
SELECT
  d.plant,
  d.decided_utc,
  d.kind,
  coalesce(l.file_name || ', line ' || d.line_no, d.flag_id) AS about,
  d.subject,
  d.disposition,
  d.given,
  d.who,
  d.note,
  d.owner,
  d.due_day,
  coalesce(s.load_id, f.flag_id) IS NOT NULL AS is_there
FROM dispositions d
LEFT JOIN loads l ON l.plant = d.plant AND l.load_id = d.load_id
LEFT JOIN set_aside s ON s.plant = d.plant AND s.load_id = d.load_id AND s.line_no = d.line_no
LEFT JOIN flags f ON f.plant = d.plant AND f.line = d.line AND f.flag_id = d.flag_id
WHERE $plant IS NULL OR d.plant = $plant
ORDER BY d.plant, d.place;
