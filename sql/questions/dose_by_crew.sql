-- question: How does the dose differ by crew and day of the week?
-- explains: crew letters come from the lab sheet of the day; not adjusted for feed solids, which stand beside
-- param plant text = alder-fork: plant id
SELECT d.line, c.crew, dayname(d.operating_day) AS weekday, count(*) AS days,
  kg_t_to_lb_dt(ratio_or_null(sum(d.polymer_active_kg), sum(d.dry_solids_t))) AS dose_lb_active_per_dry_ton, avg(d.feed_ts_pct) AS feed_ts_pct
FROM kpi_day d JOIN (SELECT DISTINCT plant, line, operating_day, crew FROM lab_results WHERE crew IS NOT NULL) c USING (plant, line, operating_day)
WHERE d.plant = $plant AND d.dose_active_kg_t IS NOT NULL
GROUP BY ALL ORDER BY line, crew, weekday;
