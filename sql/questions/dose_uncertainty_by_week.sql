-- question: How well is the dose of each week known?
-- explains: random parts shrink with the days of the week, systematic ones do not; lb per short dry ton beside kg/t
-- param plant text = : plant id; empty for all
SELECT plant, line, iso_week, dosed_days, dose_active_kg_t, dose_active_kg_t_u, dose_active_kg_t_u_random, dose_active_kg_t_u_systematic,
  kg_t_to_lb_dt(dose_active_kg_t) AS dose_lb_active_per_dry_ton, kg_t_to_lb_dt(dose_active_kg_t_u) AS dose_lb_active_per_dry_ton_u
FROM dose_uncertainty_week
WHERE $plant IS NULL OR plant = $plant
ORDER BY plant, line, week_start_day;
