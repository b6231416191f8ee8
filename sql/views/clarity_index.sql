-- question: How clear was the filtrate of each day, against the line's baseline at like feed TS?
-- unit: -
-- grain: line, operating day
-- formula: filtrate TSS of the day / median filtrate TSS of the baseline days whose feed TS lies within 0.25 points of the day's
-- source: common practice, no source
-- known limits: five baseline days at like feed TS needed; dilution of the filtrate is taken as alike; above 1 is dirtier than the baseline
CREATE OR REPLACE VIEW clarity_index AS
WITH baseline AS (
  SELECT k.plant, k.line, k.feed_ts_pct, k.filtrate_tss_mg_l
  FROM kpi_day k
  WHERE k.feed_ts_pct IS NOT NULL AND k.filtrate_tss_mg_l IS NOT NULL
    AND EXISTS (SELECT 1 FROM baseline_periods b WHERE b.plant = k.plant AND b.line = k.line AND k.operating_day BETWEEN b.first_day AND b.last_day)
), near AS (
  SELECT
    d.plant,
    d.line,
    d.operating_day,
    any_value(d.feed_ts_pct) AS feed_ts_pct,
    any_value(d.filtrate_tss_mg_l) AS filtrate_tss_mg_l,
    count(b.filtrate_tss_mg_l)::INTEGER AS baseline_days, median(b.filtrate_tss_mg_l) AS middle_mg_l
  FROM kpi_day d
  LEFT JOIN baseline b ON b.plant = d.plant AND b.line = d.line AND abs(b.feed_ts_pct - d.feed_ts_pct) <= 0.25
  GROUP BY ALL
)
SELECT n.plant, n.line, n.operating_day, n.feed_ts_pct, n.filtrate_tss_mg_l, n.baseline_days,
  CASE WHEN n.baseline_days >= 5 THEN n.middle_mg_l END AS baseline_tss_mg_l,
  CASE WHEN n.baseline_days >= 5 THEN ratio_or_null(n.filtrate_tss_mg_l, n.middle_mg_l) END AS clarity_index,
  CASE
    WHEN NOT EXISTS (SELECT 1 FROM baseline_periods b WHERE b.plant = n.plant AND b.line = n.line) THEN 'no baseline interval in the plant file'
    WHEN n.filtrate_tss_mg_l IS NULL THEN 'no filtrate sample'
    WHEN n.feed_ts_pct IS NULL THEN 'feed TS unknown'
    WHEN n.baseline_days < 5 THEN format('{} baseline days at like feed TS, 5 needed', n.baseline_days)
  END AS clarity_reason
FROM near n;
