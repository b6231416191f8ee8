-- question: Which line_day rows of all the past do weeks and months rest on, the new ones in the place of the old?
-- unit: as line_day
-- grain: line, operating day (work table)
-- formula: rows just made, and the store's rows of the other days
-- source: this project
-- known limits: none
CREATE OR REPLACE TABLE work.history_line_days AS
SELECT plant, line, operating_day, running_minutes, flow_known_minutes, polymer_known_minutes, fed_running_m3, polymer_neat_all_kg, dry_run_minutes
FROM (
  FROM line_day WHERE operating_day NOT IN (SELECT operating_day FROM work.touched_days)
  UNION ALL BY NAME
  FROM work.line_day
)
ORDER BY line, operating_day;
