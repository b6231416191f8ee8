-- question: What were the KPIs of each operating day?
-- unit: in the names (SI)
-- grain: plant, line, operating day
-- formula: sql/tables/period_kpi.sql (totals to ratios), sql/tables/minute_kpi.sql (minutes to totals)
-- source: textbook formulas, from memory; gates common practice, no source
-- known limits: means of samples are not weighted by mass within the day
CREATE OR REPLACE TABLE work.kpi_day AS
SELECT plant, line, operating_day,
  * EXCLUDE (kind, anchor, label, plant, line, operating_day, operating_days)
FROM work.period_kpi
WHERE kind = 'day'
ORDER BY ALL;
