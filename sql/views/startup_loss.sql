-- question: How long did a day's first start take until the cake was in band?
-- unit: min
-- grain: plant, line, operating day
-- formula: time from the first feed-on of the day to its first cake sample with a time of day at or above the cake target
-- source: common practice, no source
-- known limits: samples are grabs: the loss is at most so long; a first sample later than 2 h after feed-on says nothing of the start
CREATE OR REPLACE VIEW startup_loss AS
WITH cake AS (
  SELECT d.plant, d.line, d.operating_day, count(*) AS timed,
    date_diff('second', any_value(d.feed_on_utc), min(l.from_utc) FILTER (l.from_utc >= d.feed_on_utc)) / 60.0 AS first_min,
    date_diff('second', any_value(d.feed_on_utc), min(l.from_utc) FILTER (l.from_utc >= d.feed_on_utc AND l.value >= x.cake_at_least_pct)) / 60.0 AS in_band_min
  FROM line_day d
  JOIN line_limits x ON x.plant = d.plant AND x.line = d.line
  JOIN lab_results l ON l.plant = d.plant
    AND l.line = d.line
    AND l.operating_day = d.operating_day
    AND l.point = 'cake'
    AND l.analyte = 'ts'
    AND l.time_basis = 'stated' AND l.is_used
  GROUP BY d.plant, d.line, d.operating_day
)
SELECT d.plant, d.line, d.operating_day, d.feed_on_utc,
  CASE WHEN c.first_min <= 120.0 THEN c.in_band_min END AS startup_to_band_min,
  CASE
    WHEN startup_to_band_min IS NOT NULL THEN NULL
    WHEN d.feed_on_utc IS NULL THEN 'no feed-on on this day'
    WHEN x.cake_at_least_pct IS NULL THEN 'no cake target in the plant file'
    WHEN coalesce(c.timed, 0) = 0 THEN 'no cake sample with a time of day'
    WHEN c.in_band_min IS NULL THEN 'no timed cake sample in band after feed-on'
    ELSE format('first timed cake sample {:.0f} min after feed-on, 120 at most', c.first_min)
  END AS startup_reason
FROM line_day d
LEFT JOIN line_limits x ON x.plant = d.plant AND x.line = d.line
LEFT JOIN cake c ON c.plant = d.plant AND c.line = d.line AND c.operating_day = d.operating_day;
