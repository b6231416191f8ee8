-- question: How often did each feed pump start, how long did it run, and how many runs were shorter than ten minutes?
-- explains: per calendar month of operating days; runs are counted where they start
-- param plant text = : plant id; empty for all
SELECT plant, line, date_trunc('month', operating_day) AS month, count(*) AS runs, sum(run_h) AS run_h, avg(run_h) AS mean_run_h,
  count(*) FILTER (run_h < 10 / 60.0) AS short_runs
FROM runs WHERE $plant IS NULL OR plant = $plant
GROUP BY ALL ORDER BY plant, line, month;
