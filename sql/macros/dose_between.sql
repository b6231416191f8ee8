-- question: What was the dose over some operating days, and how well is it known?
-- unit: kg/t; standard uncertainties (k = 1)
-- formula: ratio of totals; u2 = sum (w r)2 over the days' own random parts + (sum w h)2 of held feed TS + (sum w s)2 of systematic parts,
--          all relative to the dose, weights w = dry solids of the day / of all days
-- source: JCGM 100:2008 5.2.2 with correlation 0 for the random and 1 for the held and systematic parts
-- known limits: error of measurement only: how days differ, recalibrated meters and other lots are not in it, so two periods that differ by
--         several u may
--          be no change at all (an unchanged line of the demonstration: 13.63 against 14.76 kg/t); set a control line and its own change beside
--          any comparison; parts of days that share a held sample count as fully shared, which is the larger figure; days whose dose is not reported
--          weigh in the totals and take the uncertainty of the others; at least one day with a dose, no gate of three
CREATE OR REPLACE MACRO dose_between(first_day, last_day, days := 'kpi_day') AS TABLE
WITH day AS (
  SELECT plant, line, operating_day, polymer_active_kg, dry_solids_t,
    CASE WHEN dose_active_kg_t_u IS NOT NULL THEN dry_solids_t END AS known_t,
    dose_active_kg_t_u_held / dose_active_kg_t AS held, dose_active_kg_t_u_systematic / dose_active_kg_t AS systematic,
    greatest(pow(dose_active_kg_t_u_random / dose_active_kg_t, 2) - pow(held, 2), 0.0) AS random_2
  FROM query_table(days) WHERE operating_day BETWEEN first_day AND last_day AND dry_solids_t > 0
), added AS (
  SELECT plant, line, count(known_t) AS dosed_days, sum(dry_solids_t) AS dry_solids_t, sum(polymer_active_kg) AS polymer_active_kg,
    sqrt(sum(pow(known_t, 2) * random_2) + pow(sum(known_t * held), 2)) / sum(known_t) AS random,
    sum(known_t * systematic) / sum(known_t) AS systematic
  FROM day GROUP BY plant, line
)
SELECT plant, line, dosed_days, dry_solids_t, polymer_active_kg, polymer_active_kg / dry_solids_t AS dose_active_kg_t,
  dose_active_kg_t * sqrt(pow(random, 2) + pow(systematic, 2)) AS dose_active_kg_t_u,
  dose_active_kg_t * random AS dose_active_kg_t_u_random, dose_active_kg_t * systematic AS dose_active_kg_t_u_systematic
FROM added;
