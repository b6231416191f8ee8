-- question: What does each day know of its feed TS: a sample spread over the day, and the median of the 14 days before?
-- unit: % by mass
-- grain: line, operating day (work table)
-- formula: mean of the day's samples without a time of day; median of the samples of the 14 operating days before
-- source: common practice, no source
-- known limits: none
CREATE OR REPLACE TABLE work.day_feed_ts AS
SELECT
  s.line,
  d.operating_day,
  (SELECT avg(f.ts_pct) FROM work.feed_samples f WHERE f.line = s.line AND f.operating_day = d.operating_day AND f.time_basis <> 'stated') AS spread_ts_pct,
  (SELECT count(*) FROM work.feed_samples f WHERE f.line = s.line AND f.operating_day = d.operating_day AND f.time_basis = 'stated') AS timed_samples,
  (SELECT median(f.ts_pct) FROM work.feed_samples f
    WHERE f.line = s.line AND f.operating_day BETWEEN d.operating_day - 14 AND d.operating_day - 1) AS median_ts_pct
FROM line_settings s CROSS JOIN work.needed_days d;
