-- question: Which cake, filtrate and feed samples belong to each period, and what is their mean?
-- unit: % and mg/L
-- grain: line, kind of period, period (work table)
-- formula: arithmetic mean of the samples used; a day counts all its samples, shorter periods only those with a stated time inside
-- source: common practice, no source
-- known limits: means are not weighted by mass within a day
CREATE OR REPLACE TABLE work.period_product AS
WITH lab AS (
  SELECT * FROM lab_results
  WHERE is_used AND value IS NOT NULL AND analyte IN ('ts', 'tss')
    AND operating_day BETWEEN (SELECT min(operating_day) - 1 FROM work.needed_days) AND (SELECT max(operating_day) + 1 FROM work.needed_days)
  ORDER BY line, from_utc, sample_id, analyte
)
SELECT
  t.line, t.kind, t.operating_day, t.label,
  avg(l.value) FILTER (l.point = 'cake' AND l.analyte = 'ts') AS cake_ts_pct,
  count(*) FILTER (l.point = 'cake' AND l.analyte = 'ts')::INTEGER AS cake_samples,
  avg(l.value) FILTER (l.point = 'filtrate' AND l.analyte = 'tss') AS filtrate_tss_mg_l,
  count(*) FILTER (l.point = 'filtrate' AND l.analyte = 'tss')::INTEGER AS filtrate_samples,
  count(*) FILTER (l.point = 'feed' AND l.analyte = 'ts')::INTEGER AS feed_samples
FROM work.period_totals t
LEFT JOIN lab l ON l.line = t.line
  AND CASE WHEN t.kind = 'day' THEN l.operating_day = t.operating_day
           ELSE l.time_basis = 'stated' AND l.from_utc >= t.period_start_utc AND l.from_utc < t.period_end_utc END
GROUP BY ALL;
