-- question: How well is the dose of each operating day known?
-- explains: standard uncertainty (about two doses in three lie within it), random and systematic parts apart; twice of it holds 95 %
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT plant, line, operating_day, dose_active_kg_t, dose_active_kg_t_u AS u_kg_t, dose_active_kg_t_u_random AS u_random_kg_t,
  dose_active_kg_t_u_systematic AS u_systematic_kg_t, 100 * ratio_or_null(dose_active_kg_t_u, dose_active_kg_t) AS u_pct,
  dose_active_kg_t - 2 * u_kg_t AS from_kg_t, dose_active_kg_t + 2 * u_kg_t AS to_kg_t, is_provisional
FROM kpi_day
WHERE operating_day >= $since AND ($plant IS NULL OR plant = $plant) AND dose_active_kg_t IS NOT NULL
ORDER BY plant, line, operating_day;
