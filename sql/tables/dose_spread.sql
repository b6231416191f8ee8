-- question: How much did the dose vary within each day and shift at hand?
-- unit: %
-- grain: line, kind of period (shift, day), period (work table)
-- formula: 100 x 1.4826 x median absolute deviation of ln(active polymer / dry solids) over quarter hours, each a ratio of totals
-- source: 1.4826 makes the MAD of a normal distribution its SD (textbook, from memory); quarter hours common practice, no source
-- known limits: quarter hours of the clock with 8 dosed minutes or more; a quarter hour cut by the end of a shift counts for each part alone
CREATE OR REPLACE TABLE work.dose_spread AS
WITH part AS (
  SELECT line, operating_day, shift, epoch_us(minute_utc) // 900000000 AS quarter,
    count(*) AS n, sum(polymer_active_kg) AS active_kg, sum(dry_solids_t) AS dry_solids_t
  FROM (FROM work.minute_kpi ORDER BY line, minute_utc)
  WHERE is_dosed AND operating_day IN (SELECT operating_day FROM work.touched_days)
  GROUP BY ALL
), quarters AS (
  SELECT line, 'shift' AS kind, operating_day, shift AS label, n, active_kg, dry_solids_t
  FROM part
  WHERE shift IS NOT NULL
  UNION ALL
  SELECT
    line,
    'day',
    operating_day,
    '',
    sum(n),
    sum(active_kg ORDER BY shift NULLS LAST),
    sum(dry_solids_t ORDER BY shift NULLS LAST)
  FROM part GROUP BY line, operating_day, quarter
)
SELECT line, kind, operating_day, label,
  count(*)::INTEGER AS dose_quarters,
  100.0 * 1.4826 * mad(ln(active_kg / dry_solids_t)) AS dose_variability_pct
FROM quarters
WHERE n >= 8 AND active_kg > 0 AND dry_solids_t > 0
GROUP BY line, kind, operating_day, label;
