-- question: How long had each pump run since its last service and its last overhaul at the end of each week at hand?
-- unit: h
-- grain: line, week (work table): the first touched week and all weeks after it
-- formula: run hours of the days after the entry's day, and of the minutes of that day from the entry on; the last entry before the week's end counts
-- source: common practice, no source
-- known limits: run hours before the data begin are not known; the flag says when an entry is older than the data
CREATE OR REPLACE TABLE work.service_hours AS
WITH week AS (
  SELECT DISTINCT h.line, h.operating_day - ((isodow(h.operating_day) - s.week_start + 7) % 7)::INTEGER AS week_start_day
  FROM work.history_days h JOIN line_settings s ON s.line = h.line
  WHERE h.operating_day >= (SELECT min(week_start_day) FROM work.touched_weeks)
), entry AS (
  SELECT l.line, l.at_utc, l.operating_day, bool_or(l.resets_overhaul) AS resets_overhaul FROM service_log l GROUP BY ALL
), first_day AS (
  SELECT e.line, e.at_utc, e.at_utc < (SELECT min(minute_utc) FROM minutes WHERE operating_day = (SELECT min(operating_day) FROM minutes)) AS is_older
  FROM entry e
), part AS (
  SELECT e.line, e.at_utc,
    sum(CASE WHEN m.pump_run_coverage IS NULL THEN coalesce(is_pump_on(m.pump_run_coverage, m.pump_run_share, m.state), false)::INTEGER
      ELSE coalesce(m.pump_run_share * m.pump_run_coverage, 0.0) END / 60.0 ORDER BY m.minute_utc) AS first_h
  FROM entry e JOIN minutes m ON m.line = e.line AND m.operating_day = e.operating_day AND m.minute_utc >= e.at_utc GROUP BY ALL
), chosen AS (
  SELECT w.line, w.week_start_day,
    max(e.at_utc) AS service_utc, max(e.at_utc) FILTER (e.resets_overhaul) AS overhaul_utc
  FROM week w LEFT JOIN entry e ON e.line = w.line AND e.operating_day < w.week_start_day + 7 GROUP BY ALL
), told AS (
  SELECT c.line, c.week_start_day, x.what, x.at_utc, e.operating_day
  FROM chosen c, LATERAL (VALUES ('service', c.service_utc), ('overhaul', c.overhaul_utc)) x (what, at_utc)
  JOIN entry e ON e.line = c.line AND e.at_utc = x.at_utc
), counted AS (
  SELECT t.line, t.week_start_day, t.what, t.at_utc, coalesce(sum(h.run_h ORDER BY h.operating_day), 0.0) AS later_h
  FROM told t LEFT JOIN work.history_days h ON h.line = t.line AND h.operating_day > t.operating_day AND h.operating_day < t.week_start_day + 7
  GROUP BY ALL
)
SELECT w.line, w.week_start_day,
  max(coalesce(p.first_h, 0.0) + c.later_h) FILTER (c.what = 'service') AS run_since_service_h,
  max(coalesce(p.first_h, 0.0) + c.later_h) FILTER (c.what = 'overhaul') AS run_since_overhaul_h,
  bool_or(f.is_older) FILTER (c.what = 'service') AS service_counted_from_data,
  bool_or(f.is_older) FILTER (c.what = 'overhaul') AS overhaul_counted_from_data
FROM week w
LEFT JOIN counted c ON c.line = w.line AND c.week_start_day = w.week_start_day
LEFT JOIN part p ON p.line = c.line AND p.at_utc = c.at_utc
LEFT JOIN first_day f ON f.line = c.line AND f.at_utc = c.at_utc
GROUP BY w.line, w.week_start_day
ORDER BY w.line, w.week_start_day;
