-- question: Which days can still change, and why?
-- explains: held feed TS, or no cake or filtrate result yet
-- param plant text = : plant id; empty for all
SELECT plant, line, operating_day, dry_solids_held_t, feed_samples, cake_samples, filtrate_samples, data_version
FROM kpi_day
WHERE is_provisional AND ($plant IS NULL OR plant = $plant)
ORDER BY plant, line, operating_day DESC;
