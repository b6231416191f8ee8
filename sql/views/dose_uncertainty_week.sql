-- question: How well is the dose of each reporting week known?
-- unit: kg/t; standard uncertainties (k = 1)
-- grain: plant, line, week
-- formula: u2 = sum (w r)2 over the days' own random parts + (sum w h)2 of held feed TS + (sum w s)2 of systematic parts, relative to the
--          dose, weights w = dry solids of the day / of all days with a dose (as the macro dose_between)
-- source: JCGM 100:2008 5.2.2 with correlation 0 for the random and 1 for the held and systematic parts
--          tons and mixing pressure: the days' u added up (mean by minutes), as if all of it were shared: the larger figure
-- known limits: parts of days that share a held sample count as fully shared, which is the larger figure
CREATE OR REPLACE VIEW dose_uncertainty_week AS
WITH day AS (
  SELECT
    k.plant,
    k.line,
    (k.operating_day - ((isodow(k.operating_day) - s.week_start + 7) % 7)::INTEGER)::DATE AS week_start_day,
    k.dry_solids_t,
    k.dose_active_kg_t_u_held / k.dose_active_kg_t AS held,
    k.dose_active_kg_t_u_systematic / k.dose_active_kg_t AS systematic,
    greatest(pow(k.dose_active_kg_t_u_random / k.dose_active_kg_t, 2) - pow(held, 2), 0.0) AS random_2
  FROM kpi_day k JOIN line_settings s ON s.plant = k.plant AND s.line = k.line
  WHERE k.dose_active_kg_t_u IS NOT NULL AND k.dry_solids_t > 0
), added AS (
  SELECT plant, line, week_start_day, count(*)::INTEGER AS dosed_days,
    sqrt(sum(pow(dry_solids_t, 2) * random_2) + pow(sum(dry_solids_t * held), 2)) / sum(dry_solids_t) AS random,
    sum(dry_solids_t * systematic) / sum(dry_solids_t) AS systematic
  FROM day GROUP BY plant, line, week_start_day
), fully_shared AS (
  SELECT
    k.plant,
    k.line,
    (k.operating_day - ((isodow(k.operating_day) - s.week_start + 7) % 7)::INTEGER)::DATE AS week_start_day,
    sum(k.dry_solids_all_t_u) * ratio_or_null(sum(k.dry_solids_all_t), sum(k.dry_solids_all_t) FILTER (k.dry_solids_all_t_u IS NOT NULL))
      AS dry_solids_all_t_u,
    ratio_or_null(sum(k.mixing_dp_ref_kpa_u * k.mixing_dp_minutes), sum(k.mixing_dp_minutes) FILTER (k.mixing_dp_ref_kpa_u IS NOT NULL))
      AS mixing_dp_ref_kpa_u
  FROM kpi_day k JOIN line_settings s ON s.plant = k.plant AND s.line = k.line
  GROUP BY ALL
)
SELECT
  w.plant,
  w.line,
  w.week_start_day,
  w.iso_week,
  coalesce(a.dosed_days, 0)::INTEGER AS dosed_days,
  w.dose_active_kg_t,
  w.dose_active_kg_t * sqrt(pow(a.random, 2) + pow(a.systematic, 2)) AS dose_active_kg_t_u,
  w.dose_active_kg_t * a.random AS dose_active_kg_t_u_random,
  w.dose_active_kg_t * a.systematic AS dose_active_kg_t_u_systematic,
  w.dry_solids_all_t,
  f.dry_solids_all_t_u,
  w.mixing_dp_ref_kpa,
  CASE WHEN w.mixing_dp_ref_kpa IS NOT NULL THEN f.mixing_dp_ref_kpa_u END AS mixing_dp_ref_kpa_u,
  w.is_provisional
FROM kpi_week w
LEFT JOIN added a ON a.plant = w.plant AND a.line = w.line AND a.week_start_day = w.week_start_day
LEFT JOIN fully_shared f ON f.plant = w.plant AND f.line = w.line AND f.week_start_day = w.week_start_day;
