-- question: What would the dose be if the feed had had a fixed TS instead of the lab's?
-- explains: the same polymer over the same flow; shows how much of the dose's movement comes from the feed samples
-- caution: Step a dose down only inside permit, capture and handling limits, with the rule for stopping and going back agreed before. Polymer on a
-- caution: floor is slippery: contain and clean spills at once.
-- param plant text = alder-fork: plant id
-- param ts number = 2.4: feed TS, %
SELECT d.line, d.operating_day, d.dose_active_kg_t, d.feed_ts_pct, d.dose_active_kg_t * d.feed_ts_pct / $ts AS dose_at_ts_kg_t
FROM kpi_day d WHERE d.plant = $plant AND d.dose_active_kg_t IS NOT NULL
ORDER BY d.line, d.operating_day;
