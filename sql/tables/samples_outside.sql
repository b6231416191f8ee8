-- question: Which samples of the days at hand do not count, because the line was not processing when they were taken?
-- unit: -
-- grain: line, sample (work table)
-- formula: no minute in state processing, or unknown, from 5 minutes before the time (or window) of the sample to 5 minutes after it; a
--          sample known to the day alone: no such minute on its operating day; a feed sample (of a moment or a day): the line was not fed, and its
--          state was known, in all minutes of its operating day
-- source: common practice, no source: cake of start-up is no cake of the process, and bottles are stamped to a few minutes
-- known limits: a sample known to the day alone counts when the line processed at any time of the day, so one of start-up is not found; a
--          feed sample taken before the pump started counts: the sludge of the tank is what is fed; one over more than a day counts
CREATE OR REPLACE TABLE work.samples_outside AS
WITH sample AS (
  SELECT line, sample_id, operating_day, time_basis,
    min(from_utc) - INTERVAL 5 MINUTE AS from_utc,
    max(to_utc) + INTERVAL 5 MINUTE AS to_utc
  FROM lab_results
  WHERE is_used AND (point IN ('cake', 'filtrate') AND analyte IN ('ts', 'tss') OR analyte = 'cst')
    AND operating_day BETWEEN (SELECT min(operating_day) - 1 FROM work.needed_days) AND (SELECT max(operating_day) + 1 FROM work.needed_days)
  GROUP BY ALL
), state AS (
  SELECT line, operating_day, minute_utc, state IN ('processing', 'unknown') AS may_process FROM minutes
  WHERE operating_day BETWEEN (SELECT min(operating_day) - 2 FROM work.needed_days) AND (SELECT max(operating_day) + 2 FROM work.needed_days)
), seen AS (
  SELECT s.line, s.sample_id, bool_or(m.may_process) AS may_process
  FROM sample s JOIN state m ON m.line = s.line AND m.minute_utc >= s.from_utc AND m.minute_utc <= s.to_utc
  WHERE s.time_basis <> 'day'
  GROUP BY s.line, s.sample_id
  UNION ALL
  SELECT s.line, s.sample_id, bool_or(m.may_process)
  FROM sample s JOIN state m ON m.line = s.line AND m.operating_day = s.operating_day
  WHERE s.time_basis = 'day'
  GROUP BY s.line, s.sample_id
), feed AS ( -- of all days whose TS can reach the days at hand, as sql/tables/feed_samples.sql
  SELECT DISTINCT line, sample_id, operating_day FROM lab_results
  WHERE is_used AND point = 'feed' AND analyte IN ('ts', 'vs') AND time_basis IN ('stated', 'day')
    AND operating_day BETWEEN (SELECT min(operating_day) - 18 FROM work.needed_days) AND (SELECT max(operating_day) + 4 FROM work.needed_days)
), fed AS (
  SELECT line, operating_day, bool_or(state IN ('start-up', 'processing', 'unknown')) AS may_feed FROM minutes
  WHERE operating_day BETWEEN (SELECT min(operating_day) - 18 FROM work.needed_days) AND (SELECT max(operating_day) + 4 FROM work.needed_days)
  GROUP BY line, operating_day
)
SELECT line, sample_id FROM seen WHERE NOT may_process
UNION
SELECT f.line, f.sample_id FROM feed f JOIN fed d ON d.line = f.line AND d.operating_day = f.operating_day WHERE NOT d.may_feed
ORDER BY line, sample_id;
