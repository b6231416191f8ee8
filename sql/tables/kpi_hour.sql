-- question: What were the KPIs of each hour?
-- unit: in the names (SI)
-- grain: plant, line, UTC hour
-- formula: sql/tables/period_kpi.sql (totals to ratios), sql/tables/minute_kpi.sql (minutes to totals)
-- source: textbook formulas, from memory; gates common practice, no source
-- known limits: cake and filtrate only from samples with a stated time in the hour
CREATE OR REPLACE TABLE work.kpi_hour AS
SELECT plant, line, operating_day,
  * EXCLUDE (kind, anchor, label, plant, line, operating_day, operating_days)
FROM work.period_kpi
WHERE kind = 'hour'
ORDER BY plant, line, period_start_utc;
