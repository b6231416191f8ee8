-- question: Which day rows do the weeks and spans at hand rest on, the new ones in the place of the old?
-- unit: as kpi_day
-- grain: line, operating day (work table)
-- formula: rows just made, and the store's rows of the other days
-- source: this project
-- known limits: none
CREATE OR REPLACE TABLE work.day_rows AS
SELECT * FROM kpi_day
WHERE operating_day NOT IN (SELECT operating_day FROM work.touched_days)
  AND operating_day BETWEEN (SELECT min(operating_day) - 28 FROM work.touched_days) AND (SELECT max(operating_day) + 28 FROM work.touched_days)
UNION ALL
SELECT * FROM work.kpi_day
ORDER BY line, operating_day;
