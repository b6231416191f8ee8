-- question: What were the KPIs of each operating day?
-- unit: in the names (SI)
-- grain: plant, line, operating day
-- formula: sql/tables/period_kpi.sql (totals to ratios), sql/tables/minute_kpi.sql (minutes to totals), sql/tables/day_uncertainty.sql;
--          day total of the sludge register from pipelines/compute/register_days.py
-- source: textbook formulas, from memory; gates common practice, no source
-- known limits: means of samples are not weighted by mass within the day
CREATE OR REPLACE TABLE work.kpi_day AS
SELECT k.plant, k.line, k.operating_day,
  k.* EXCLUDE (kind, anchor, label, plant, line, operating_day, operating_days),
  u.* EXCLUDE (line, operating_day),
  r.sludge_register_m3,
  CASE WHEN r.line IS NULL THEN 'no sludge register' ELSE r.sludge_register_reason END AS sludge_register_reason
FROM work.period_kpi k
JOIN work.day_uncertainty u ON u.line = k.line AND u.operating_day = k.operating_day
LEFT JOIN work.register_days r ON r.line = k.line AND r.operating_day = k.operating_day
WHERE k.kind = 'day'
ORDER BY k.plant, k.line, k.operating_day;
