-- question: How do the plants and lines compare on the same units?
-- explains: ratios of totals over the days since a date; kg/t, %, kWh/t and hours; currencies differ, so no cost
-- param since date = 2026-01-01: first operating day
SELECT plant, line, count(dose_active_kg_t) AS dosed_days, sum(dry_solids_t) AS dry_solids_t,
  ratio_or_null(sum(polymer_active_kg), sum(dry_solids_t)) AS dose_active_kg_t,
  ratio_or_null(sum(cake_ts_pct * dry_solids_t), sum(dry_solids_t) FILTER (cake_ts_pct IS NOT NULL)) AS cake_ts_pct,
  ratio_or_null(sum(capture_pct * dry_solids_t), sum(dry_solids_t) FILTER (capture_pct IS NOT NULL)) AS capture_pct,
  ratio_or_null(sum(energy_kwh), sum(energy_solids_t)) AS energy_kwh_t, sum(run_h) AS run_h
FROM kpi_day WHERE operating_day >= $since GROUP BY ALL ORDER BY plant, line;
