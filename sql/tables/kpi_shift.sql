-- question: What were the KPIs of each shift?
-- unit: in the names (SI)
-- grain: plant, line, operating day, shift
-- formula: sql/tables/period_kpi.sql (totals to ratios), sql/tables/minute_kpi.sql (minutes to totals)
-- source: textbook formulas, from memory; gates common practice, no source
-- known limits: cake and filtrate only from samples with a stated time in the shift
CREATE OR REPLACE TABLE work.kpi_shift AS
SELECT plant, line, operating_day, label AS shift,
  * EXCLUDE (kind, anchor, label, plant, line, operating_day, operating_days)
FROM work.period_kpi
WHERE kind = 'shift'
ORDER BY plant, line, operating_day, shift;
