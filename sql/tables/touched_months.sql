-- question: Which months must be made anew?
-- unit: -
-- grain: month (work table)
-- formula: the months of the touched days, and of the days three before and after them, since a month's stock readings may lie so far outside it
-- source: this project
-- known limits: none
CREATE OR REPLACE TABLE work.touched_months AS
SELECT DISTINCT date_trunc('month', operating_day + reach)::DATE AS month_start_day
FROM work.touched_days CROSS JOIN (VALUES (-3), (0), (3)) r (reach)
ORDER BY month_start_day;
