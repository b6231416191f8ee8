-- question: Which feed TS counts in each minute of the days at hand in which the line is not known to stand?
-- unit: % by mass; age in h
-- grain: line, minute that is not known to stand, with a known feed TS (work table)
-- formula: a sample of a shift or of a stated window applies to all minutes inside it, the one with the shortest span first; outside such
--          spans, of the timed samples of the operating day the nearest in time (to the nearer end of a span), the earlier of two equally
--          near; else the mean of its samples without a time of day; else a window longer than a day that holds the minute; else the last
--          sample before, relaxing to the 14-day median: m + (TS - m) exp(-age/tau), until the hold limit
-- source: common practice, no source
-- known limits: samples of the same moment or the same span count with their mean; a moment inside a shift that has a sample of its own does not
--          count; a sample without a time of day is aged from the middle of its day, one of a span from its middle; nothing is held longer
--          than 336 h, whatever the plant file says, since a late result recomputes 14 days and no more
CREATE OR REPLACE TABLE work.minute_feed_ts AS
WITH spanned AS (
  SELECT s.line, d.operating_day, s.from_utc, s.to_utc, s.is_long, avg(s.ts_pct ORDER BY s.sample_id) AS covering_ts_pct
  FROM work.feed_samples s JOIN work.needed_days d
    ON d.operating_day BETWEEN s.operating_day - 4 AND s.operating_day + 4
  WHERE (s.is_timed OR s.is_long) AND s.to_utc > s.from_utc
  GROUP BY ALL
), covered AS (
  SELECT m.line, m.minute_utc, s.is_long, s.covering_ts_pct
  FROM spanned s JOIN minutes m
    ON m.line = s.line AND m.operating_day = s.operating_day AND m.minute_utc >= s.from_utc AND m.minute_utc < s.to_utc
  WHERE m.state NOT IN ('stopped', 'shutdown')
  QUALIFY row_number() OVER (PARTITION BY m.line, m.minute_utc ORDER BY s.to_utc - s.from_utc, s.from_utc) = 1
), minute AS (
  SELECT m.line, m.minute_utc, t.* EXCLUDE (line), c.covering_ts_pct,
    CASE WHEN c.covering_ts_pct IS NULL THEN 'none'
      WHEN NOT c.is_long OR (t.timed_samples = 0 AND t.spread_ts_pct IS NULL) THEN 'first' ELSE 'last' END AS cover
  FROM minutes m JOIN work.day_feed_ts t ON t.line = m.line AND t.operating_day = m.operating_day
  LEFT JOIN covered c ON c.line = m.line AND c.minute_utc = m.minute_utc
  WHERE m.state NOT IN ('stopped', 'shutdown')
), timed AS (
  SELECT line, operating_day, from_utc, to_utc, avg(ts_pct ORDER BY sample_id) AS ts_pct
  FROM work.feed_samples
  WHERE is_timed
  GROUP BY ALL
), ending AS (
  SELECT line, operating_day, to_utc, avg(ts_pct ORDER BY from_utc) AS ts_pct FROM timed GROUP BY ALL
), beginning AS (
  SELECT line, operating_day, from_utc, avg(ts_pct ORDER BY to_utc) AS ts_pct FROM timed GROUP BY ALL
), moment AS (
  SELECT line, at_utc, avg(ts_pct ORDER BY sample_id) AS ts_pct FROM work.feed_samples GROUP BY ALL
), around AS (
  SELECT m.*,
    b.ts_pct AS before_ts_pct, date_diff('second', b.to_utc, m.minute_utc) / 3600.0 AS before_h,
    a.ts_pct AS after_ts_pct, date_diff('second', m.minute_utc, a.from_utc) / 3600.0 AS after_h
  FROM minute m
  ASOF LEFT JOIN ending b ON b.line = m.line AND b.operating_day = m.operating_day AND m.minute_utc >= b.to_utc
  ASOF LEFT JOIN beginning a ON a.line = m.line AND a.operating_day = m.operating_day AND m.minute_utc < a.from_utc
  WHERE m.timed_samples > 0 AND m.cover <> 'first'
), held AS (
  SELECT m.*, h.ts_pct AS last_ts_pct, date_diff('second', h.at_utc, m.minute_utc) / 3600.0 AS age_h
  FROM minute m ASOF JOIN moment h ON h.line = m.line AND m.minute_utc >= h.at_utc
  WHERE m.timed_samples = 0 AND m.spread_ts_pct IS NULL AND m.cover = 'none'
)
SELECT line, minute_utc, false AS is_held,
  CASE WHEN after_h IS NULL OR before_h <= after_h THEN before_ts_pct ELSE after_ts_pct END AS ts_pct,
  CASE WHEN after_h IS NULL OR before_h <= after_h THEN before_h ELSE 0.0 END AS ts_age_h
FROM around
UNION ALL
SELECT line, minute_utc, false, covering_ts_pct, 0.0 FROM minute WHERE cover = 'first'
UNION ALL
SELECT line, minute_utc, false, spread_ts_pct, 0.0
FROM minute
WHERE timed_samples = 0 AND cover <> 'first' AND spread_ts_pct IS NOT NULL
UNION ALL
SELECT
  line,
  minute_utc,
  true,
  held_ts_pct(last_ts_pct, coalesce(median_ts_pct, last_ts_pct), age_h, solids_hold_tau_h),
  age_h
FROM held WHERE age_h <= least(solids_hold_limit_h, 336.0);
