-- question: What does each day know of its feed TS: a sample spread over the day, and the median of the 14 days before?
-- unit: % by mass
-- grain: line, operating day (work table)
-- formula: mean of the day's samples without a time of day; number of those with one (a moment,
--          a shift or a window up to a day); median of the samples of the 14 operating days before
-- source: common practice, no source
-- known limits: none
CREATE OR REPLACE TABLE work.day_feed_ts AS
SELECT
  s.line,
  d.operating_day,
  any_value(s.solids_hold_tau_h) AS solids_hold_tau_h,
  any_value(s.solids_hold_limit_h) AS solids_hold_limit_h,
  avg(f.ts_pct ORDER BY f.sample_id) FILTER (f.operating_day = d.operating_day AND NOT f.is_timed AND NOT f.is_long) AS spread_ts_pct,
  count(*) FILTER (f.operating_day = d.operating_day AND f.is_timed) AS timed_samples,
  median(f.ts_pct) FILTER (f.operating_day < d.operating_day) AS median_ts_pct
FROM line_settings s CROSS JOIN work.needed_days d CROSS JOIN work.limits x
LEFT JOIN work.feed_samples f ON f.line = s.line
  AND f.operating_day BETWEEN d.operating_day - x.held_ts_days::INTEGER AND d.operating_day
GROUP BY s.line, d.operating_day;
