-- question: How long did the first start of a day take until the cake was in band, and how clear was the filtrate?
-- explains: start-up loss needs cake samples with a time of day; clarity is filtrate TSS against the baseline at like feed TS, above 1 is dirtier
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT s.plant, s.line, s.operating_day, s.startup_to_band_min, s.startup_reason, c.clarity_index, c.baseline_days, c.clarity_reason
FROM startup_loss s JOIN clarity_index c ON c.plant = s.plant AND c.line = s.line AND c.operating_day = s.operating_day
JOIN line_day d ON d.plant = s.plant AND d.line = s.line AND d.operating_day = s.operating_day
WHERE d.running_minutes > 0 AND s.operating_day >= $since AND ($plant IS NULL OR s.plant = $plant)
ORDER BY s.plant, s.line, s.operating_day;
