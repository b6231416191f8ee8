-- question: Which feed TS samples can speak for the days at hand?
-- unit: % by mass
-- grain: line, sample (work table)
-- formula: middle of the span in which the sample was taken; a sample known to the shift or better is timed, one known to the day is not;
--          a sample of a day on which the line was not fed does not count (sql/tables/samples_outside.sql);
--          the span of a shift or stated window is kept, for it speaks for all its minutes; a window longer than the longest day is long
-- source: common practice, no source
-- known limits: samples from 18 days before the first day at hand (14 for the median and the longest hold, and the ends of both) to 4 days
--          after the last (a window of 7 days stands at the day of its middle)
CREATE OR REPLACE TABLE work.feed_samples AS
SELECT
  line,
  operating_day,
  sample_id,
  time_basis <> 'day' AND to_utc - from_utc > INTERVAL 25 HOUR AS is_long,
  time_basis <> 'day' AND NOT is_long AS is_timed,
  make_timestamptz(((epoch_us(from_utc) + epoch_us(to_utc)) // 2)::BIGINT) AS at_utc,
  from_utc,
  to_utc,
  value AS ts_pct
FROM lab_results
WHERE point = 'feed' AND analyte = 'ts' AND is_used AND value > 0
  AND (line, sample_id) NOT IN (SELECT (line, sample_id) FROM work.samples_outside)
  AND operating_day BETWEEN (SELECT min(operating_day) - 18 FROM work.needed_days) AND (SELECT max(operating_day) + 4 FROM work.needed_days)
ORDER BY line, at_utc, sample_id;
