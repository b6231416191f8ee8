-- question: What were the KPIs of the hours and days up to each operating day?
-- unit: in the names (SI)
-- grain: plant, line, operating day, window
-- formula: sql/tables/period_kpi.sql (totals to ratios), sql/tables/minute_kpi.sql (minutes to totals)
-- source: textbook formulas, from memory; gates common practice, no source
-- known limits: hour windows are clock hours up to the day's last processing minute; a day without processing has none
CREATE OR REPLACE TABLE work.kpi_rolling AS
SELECT plant, line, coalesce(anchor, operating_day) AS operating_day, kind AS window_name, operating_days,
  * EXCLUDE (kind, anchor, label, plant, line, operating_day, operating_days)
FROM (FROM work.period_kpi UNION ALL BY NAME FROM work.long_kpi)
WHERE kind IN ('1 h', '8 h', '24 h', '7 d', '28 d')
ORDER BY plant, line, operating_day, window_name;
