-- question: How do the 7- and 28-day doses run, as ratios of totals?
-- explains: windows of operating days that end with each day; kg/t and lb per short dry ton
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT plant, line, operating_day,
  max(dose_active_kg_t) FILTER (window_name = '7 d') AS dose_7_d_kg_t,
  max(dose_active_kg_t) FILTER (window_name = '28 d') AS dose_28_d_kg_t,
  kg_t_to_lb_dt(dose_7_d_kg_t) AS dose_7_d_lb_active_per_dry_ton,
  kg_t_to_lb_dt(dose_28_d_kg_t) AS dose_28_d_lb_active_per_dry_ton
FROM kpi_rolling
WHERE operating_day >= $since AND ($plant IS NULL OR plant = $plant)
GROUP BY ALL ORDER BY plant, line, operating_day;
