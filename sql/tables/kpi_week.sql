-- question: What were the KPIs of each reporting week?
-- unit: in the names (SI)
-- grain: plant, line, week
-- formula: sql/tables/period_kpi.sql (totals to ratios), sql/tables/minute_kpi.sql (minutes to totals)
-- source: textbook formulas, from memory; gates common practice, no source
-- known limits: the ISO week named is that of the Monday in the reporting week
CREATE OR REPLACE TABLE work.kpi_week AS
SELECT
  plant,
  line,
  anchor AS week_start_day,
  strftime(anchor + ((8 - isodow(anchor)) % 7)::INTEGER, '%G-W%V') AS iso_week,
  operating_days,
  * EXCLUDE (kind, anchor, label, plant, line, operating_day, operating_days)
FROM work.long_kpi
WHERE kind = 'week'
ORDER BY plant, line, week_start_day;
