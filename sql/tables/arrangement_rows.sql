-- question: Which arrangement days do the weeks and spans at hand rest on, the new ones in the place of the old?
-- unit: as arrangement_days
-- grain: line, operating day, arrangement (work table)
-- formula: rows just made, and the store's rows of the other days
-- source: this project
-- known limits: none
CREATE OR REPLACE TABLE work.arrangement_rows AS
SELECT * FROM work.arrangement_days
UNION ALL
SELECT * FROM arrangement_days
WHERE operating_day NOT IN (SELECT operating_day FROM work.touched_days)
  AND operating_day BETWEEN (SELECT min(first_day) FROM work.long_spans) AND (SELECT max(last_day) FROM work.long_spans);
