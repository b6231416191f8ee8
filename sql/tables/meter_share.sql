-- question: What share of a polymer meter that several lines read belongs to each line in each minute?
-- unit: 0 to 1
-- grain: line with a shared meter, minute (work table)
-- formula: the only line that feeds has all of it; of several, "by sludge flow" Q / sum of Q, "by dry solids" Q TS / sum of Q TS; "refuse" none
-- source: common practice, no source
-- known limits: no share while the state or flow of one of the lines is unknown, while nobody feeds, or, by dry solids, while the feed TS
--               of a feeding line is unknown; polymer is taken to follow the sludge at once
CREATE OR REPLACE TABLE work.meter_share AS
WITH flow AS (
  SELECT m.line, m.minute_utc, s.shared_group, s.shared_split,
    covered(greatest(m.sludge_flow_m3_h, 0.0), m.sludge_flow_coverage) AS q_m3_h,
    CASE
      WHEN m.state = 'stopped' THEN false
      WHEN m.state <> 'unknown' THEN q_m3_h > s.feed_cutoff_m3_h END AS is_feeding,
    q_m3_h * CASE s.shared_split WHEN 'by dry solids' THEN t.ts_pct ELSE 1.0 END AS weight
  FROM minutes m
  JOIN line_settings s ON s.line = m.line AND s.shared_group IS NOT NULL
  LEFT JOIN work.minute_feed_ts t ON t.line = m.line AND t.minute_utc = m.minute_utc
  WHERE m.operating_day IN (SELECT operating_day FROM work.needed_days)
), meter AS (
  SELECT shared_group, minute_utc,
    bool_or(is_feeding IS NULL) AS is_unknown,
    count(*) FILTER (is_feeding) AS feeding_lines,
    CASE
      WHEN count(*) FILTER (is_feeding AND weight IS NULL) = 0 THEN sum(weight ORDER BY line) FILTER (is_feeding) END AS weights
  FROM flow GROUP BY shared_group, minute_utc
)
SELECT f.line, f.minute_utc,
  CASE
    WHEN m.is_unknown OR m.feeding_lines = 0 THEN NULL
    WHEN NOT f.is_feeding THEN 0.0
    WHEN m.feeding_lines = 1 THEN 1.0
    WHEN f.shared_split <> 'refuse' THEN ratio_or_null(f.weight, m.weights)
  END AS meter_share
FROM flow f JOIN meter m ON m.shared_group = f.shared_group AND m.minute_utc = f.minute_utc;
