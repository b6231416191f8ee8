-- question: Which cake, filtrate and feed samples belong to each period, and what is their mean?
-- unit: %, mg/L and s
-- grain: line, kind of period, period (work table)
-- formula: arithmetic mean of the samples used, VS weighted by the TS of its own sample when each has one; a day counts all its samples,
--          shorter periods only those whose time (a moment, or a shift) lies inside;
--          samples taken while the line was not processing do not count (sql/tables/samples_outside.sql)
-- source: common practice, no source
-- known limits: other means are not weighted by mass within a day
CREATE OR REPLACE TABLE work.period_product AS
WITH used AS (
  SELECT line, operating_day, time_basis, from_utc, to_utc, sample_id, point, analyte, value FROM lab_results
  WHERE is_used AND value IS NOT NULL AND analyte IN ('ts', 'tss', 'vs', 'cst')
    AND operating_day BETWEEN (SELECT min(operating_day) - 1 FROM work.needed_days) AND (SELECT max(operating_day) + 1 FROM work.needed_days)
    AND (line, sample_id) NOT IN (SELECT (line, sample_id) FROM work.samples_outside)
), lab AS (
  SELECT u.*, u.point || ' ' || u.analyte AS what, w.value AS own_ts_pct
  FROM used u
  LEFT JOIN used w ON u.analyte = 'vs'
    AND w.analyte = 'ts'
    AND w.sample_id = u.sample_id
    AND w.line = u.line
    AND w.point = u.point
)
SELECT
  t.line, t.kind, t.operating_day, t.label,
  avg(l.value ORDER BY l.from_utc, l.sample_id) FILTER (l.what = 'cake ts') AS cake_ts_pct,
  count(*) FILTER (l.what = 'cake ts')::INTEGER AS cake_samples,
  avg(l.value ORDER BY l.from_utc, l.sample_id) FILTER (l.what = 'filtrate tss') AS filtrate_tss_mg_l,
  count(*) FILTER (l.what = 'filtrate tss')::INTEGER AS filtrate_samples,
  count(*) FILTER (l.what = 'feed ts')::INTEGER AS feed_samples,
  count(*) FILTER (l.what = 'feed vs')::INTEGER AS vs_samples,
  CASE WHEN count(l.own_ts_pct) FILTER (l.what = 'feed vs') = vs_samples
    THEN ratio_or_null(sum(l.value * l.own_ts_pct ORDER BY l.from_utc, l.sample_id) FILTER (l.what = 'feed vs'),
                       sum(l.own_ts_pct ORDER BY l.from_utc, l.sample_id) FILTER (l.what = 'feed vs'))
    ELSE avg(l.value ORDER BY l.from_utc, l.sample_id) FILTER (l.what = 'feed vs') END AS vs_pct,
  avg(l.value ORDER BY l.from_utc, l.sample_id) FILTER (l.what = 'feed cst') AS cst_s,
  count(*) FILTER (l.what = 'feed cst')::INTEGER AS cst_samples
FROM work.period_totals t
LEFT JOIN lab l ON l.line = t.line AND l.operating_day BETWEEN t.first_day - 1 AND t.operating_day + 1
  AND CASE WHEN t.kind = 'day' THEN l.operating_day = t.operating_day
           ELSE l.time_basis <> 'day' AND l.from_utc >= t.period_start_utc AND l.from_utc < t.period_end_utc AND l.to_utc <= t.period_end_utc END
GROUP BY ALL;
