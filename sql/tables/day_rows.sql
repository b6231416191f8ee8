-- question: Which day rows do the weeks and spans at hand rest on, the new ones in the place of the old?
-- unit: as kpi_day, without the columns it alone has
-- grain: line, operating day (work table)
-- formula: rows just made, and the store's rows of the other days
-- source: this project
-- known limits: none
CREATE OR REPLACE TABLE work.day_rows AS
SELECT * EXCLUDE (kind, anchor, label, operating_days, data_version) FROM work.period_kpi WHERE kind = 'day'
UNION ALL BY NAME
SELECT COLUMNS(lambda c: c NOT IN ('data_version', 'feed_ts_scatter_pct', 'sludge_register_m3', 'sludge_register_reason') AND NOT regexp_matches(c, '_u(_|$)'))
FROM kpi_day
WHERE operating_day NOT IN (SELECT operating_day FROM work.touched_days)
  AND operating_day BETWEEN (SELECT min(first_day) FROM work.long_spans) AND (SELECT max(last_day) FROM work.long_spans)
ORDER BY line, operating_day;
