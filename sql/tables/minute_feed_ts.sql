-- question: Which feed TS counts in each processing minute of the days at hand?
-- unit: % by mass; age in h
-- grain: line, processing minute with a known feed TS (work table)
-- formula: timed samples of the operating day: the nearest in time, the earlier of two equally near; else the mean of its samples without a
--          time of day; else the last sample before, relaxing to the 14-day median: m + (TS - m) exp(-age/tau), until the hold limit
-- source: common practice, no source
-- known limits: samples of the same moment count with their mean; a sample without a time of day is aged from the middle of its day;
--          nothing is held longer than 336 h, whatever the plant file says, since a late result recomputes 14 days and no more
CREATE OR REPLACE TABLE work.minute_feed_ts AS
WITH minute AS (
  SELECT m.line, m.minute_utc, t.*  EXCLUDE (line)
  FROM minutes m JOIN work.day_feed_ts t ON t.line = m.line AND t.operating_day = m.operating_day
  WHERE m.state = 'processing'
), timed AS (
  SELECT line, operating_day, at_utc, avg(ts_pct ORDER BY sample_id) AS ts_pct FROM work.feed_samples WHERE is_timed GROUP BY ALL
), moment AS (
  SELECT line, at_utc, avg(ts_pct ORDER BY sample_id) AS ts_pct FROM work.feed_samples GROUP BY ALL
), around AS (
  SELECT m.*,
    b.ts_pct AS before_ts_pct, date_diff('second', b.at_utc, m.minute_utc) / 3600.0 AS before_h,
    a.ts_pct AS after_ts_pct, date_diff('second', m.minute_utc, a.at_utc) / 3600.0 AS after_h
  FROM minute m
  ASOF LEFT JOIN timed b ON b.line = m.line AND b.operating_day = m.operating_day AND m.minute_utc >= b.at_utc
  ASOF LEFT JOIN timed a ON a.line = m.line AND a.operating_day = m.operating_day AND m.minute_utc < a.at_utc
  WHERE m.timed_samples > 0
), held AS (
  SELECT m.*, h.ts_pct AS last_ts_pct, date_diff('second', h.at_utc, m.minute_utc) / 3600.0 AS age_h
  FROM minute m ASOF JOIN moment h ON h.line = m.line AND m.minute_utc >= h.at_utc
  WHERE m.timed_samples = 0 AND m.spread_ts_pct IS NULL
)
SELECT line, minute_utc, false AS is_held,
  CASE WHEN after_h IS NULL OR before_h <= after_h THEN before_ts_pct ELSE after_ts_pct END AS ts_pct,
  CASE WHEN after_h IS NULL OR before_h <= after_h THEN before_h ELSE 0.0 END AS ts_age_h
FROM around
UNION ALL
SELECT line, minute_utc, false, spread_ts_pct, 0.0 FROM minute WHERE timed_samples = 0 AND spread_ts_pct IS NOT NULL
UNION ALL
SELECT line, minute_utc, true, held_ts_pct(last_ts_pct, coalesce(median_ts_pct, last_ts_pct), age_h, solids_hold_tau_h), age_h
FROM held WHERE age_h <= least(solids_hold_limit_h, 336.0);
