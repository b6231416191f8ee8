-- question: Which day rows of all the past do hours since service and months rest on, the new ones in the place of the old?
-- unit: as kpi_day
-- grain: line, operating day (work table)
-- formula: rows just made, and the store's rows of the other days; only the columns that long spans need
-- source: this project
-- known limits: none
CREATE OR REPLACE TABLE work.history_days AS
SELECT plant, line, operating_day, run_h, starts, processing_minutes, feed_ts_pct, cake_ts_pct, filtrate_tss_mg_l, dilution_ratio
FROM (
  FROM kpi_day WHERE operating_day NOT IN (SELECT operating_day FROM work.touched_days)
  UNION ALL BY NAME
  FROM work.kpi_day
)
ORDER BY line, operating_day;
