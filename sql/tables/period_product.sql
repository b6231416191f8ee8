-- question: Which cake, filtrate and feed samples belong to each period, and what is their mean?
-- unit: % and mg/L
-- grain: line, kind of period, period (work table)
-- formula: arithmetic mean of the samples used; a day counts all its samples, shorter periods only those whose time (a moment, or a shift)
--          lies inside
-- source: common practice, no source
-- known limits: means are not weighted by mass within a day
CREATE OR REPLACE TABLE work.period_product AS
WITH lab AS (
  SELECT line, operating_day, time_basis, from_utc, to_utc, sample_id, point || ' ' || analyte AS what, value FROM lab_results
  WHERE is_used AND value IS NOT NULL AND analyte IN ('ts', 'tss')
    AND operating_day BETWEEN (SELECT min(operating_day) - 1 FROM work.needed_days) AND (SELECT max(operating_day) + 1 FROM work.needed_days)
)
SELECT
  t.line, t.kind, t.operating_day, t.label,
  avg(l.value ORDER BY l.from_utc, l.sample_id) FILTER (l.what = 'cake ts') AS cake_ts_pct,
  count(*) FILTER (l.what = 'cake ts')::INTEGER AS cake_samples,
  avg(l.value ORDER BY l.from_utc, l.sample_id) FILTER (l.what = 'filtrate tss') AS filtrate_tss_mg_l,
  count(*) FILTER (l.what = 'filtrate tss')::INTEGER AS filtrate_samples,
  count(*) FILTER (l.what = 'feed ts')::INTEGER AS feed_samples
FROM work.period_totals t
LEFT JOIN lab l ON l.line = t.line AND l.operating_day BETWEEN t.first_day - 1 AND t.operating_day + 1
  AND CASE WHEN t.kind = 'day' THEN l.operating_day = t.operating_day
           ELSE l.time_basis <> 'day' AND l.from_utc >= t.period_start_utc AND l.from_utc < t.period_end_utc AND l.to_utc <= t.period_end_utc END
GROUP BY ALL;
