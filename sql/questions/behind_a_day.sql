-- question: Which files are behind the numbers of a day?
-- explains: loads whose rows fall on the day, with their receipts; `flocledger trace` goes on to the lines
-- param plant text = alder-fork: plant id
-- param day date = 2026-03-05: operating day
SELECT l.received_seq, l.file_name, l.archived_as, l.sha256, l.rows_read, l.rows_kept, l.rows_duplicate, l.rows_dropped, l.rows_set_aside
FROM loads l JOIN load_days d ON d.plant = l.plant AND d.load_id = l.load_id
WHERE l.plant = $plant AND d.operating_day = $day ORDER BY l.received_seq;
