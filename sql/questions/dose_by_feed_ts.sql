-- question: How do dose, cake and capture depend on feed solids, before and after a day?
-- explains: days in bins of 0.25 % feed TS, never pooled over an event of the line (arrangement_since); dose is a ratio of totals within the bin, half its
-- explains: interval (95 %, Student's t) from the scatter of its days; bins of fewer than 5 days are left out. Known limits: dose = A / (Q TS) and the axis
-- explains: share the error of TS: that alone makes dose fall with TS, with an elasticity of minus the share of the scatter of TS that is error (classical
-- explains: errors in variables); a day's dose in the wrong bin is no effect of solids
-- param plant text = alder-fork: plant id
-- param line text = line-1: line id
-- param change date = 2026-03-03: first day of the second period
SELECT
  k.operating_day >= $change AS is_after,
  (SELECT max(e.operating_day) FROM line_events e WHERE e.plant = k.plant AND e.line = k.line AND e.operating_day <= k.operating_day) AS arrangement_since,
  floor(k.feed_ts_pct / 0.25) * 0.25 AS feed_ts_from_pct,
  count(*) AS days,
  ratio_or_null(sum(k.polymer_active_kg), sum(k.dry_solids_t)) AS dose_active_kg_t,
  t_975(count(*) - 1) * stddev_samp(k.dose_active_kg_t) / sqrt(count(*)) AS half_interval_kg_t,
  kg_t_to_lb_dt(ratio_or_null(sum(k.polymer_active_kg), sum(k.dry_solids_t))) AS dose_lb_active_per_dry_ton,
  avg(k.cake_ts_pct) AS cake_ts_pct, avg(k.capture_pct) AS capture_pct
FROM kpi_day k
WHERE k.plant = $plant AND k.line = $line AND k.dose_active_kg_t IS NOT NULL
GROUP BY ALL HAVING count(*) >= 5 ORDER BY is_after, arrangement_since, feed_ts_from_pct;
