-- question: How much does a week's or month's mean result depend on what a non-detect counts?
-- unit: that of the analyte
-- grain: plant, line, point, analyte, kind of period (week, month) and its first day
-- formula: means with non-detects at 0, at half their limit (what KPIs use) and at the limit; Kaplan-Meier mean of left-censored results:
--          over the detected values x, from the largest down, P(X < x) = product of (1 - d/n) with d results equal to x and n results or
--          limits not above x; mean = sum of x [P(X <= x) - P(X < x)], what is left at the smallest result or limit
-- source: E. L. Kaplan and P. Meier, J. Am. Stat. Assoc. 53 (1958), turned round as in D. R. Helsel, Nondetects and Data Analysis (2005) [both from memory]
-- known limits: results in use only; null Kaplan-Meier mean when nothing was detected; where the smallest of all is a limit, the mean is too high by
--               at most that limit times the share left over; replicates of which some were detected count as detected, with their mean
CREATE OR REPLACE VIEW lab_nondetects AS
WITH result AS (
  SELECT l.plant, l.line, l.point, l.analyte, l.unit, l.sample_id, l.value,
    coalesce(l.value_at_zero, l.value) AS at_zero, coalesce(l.value_at_limit, l.value) AS at_limit,
    coalesce(l.value_at_zero = 0 AND l.value_at_limit > 0, false) AS is_below,
    CASE WHEN is_below THEN l.value_at_limit ELSE l.value END AS x,
    unnest([
      {'kind': 'week', 'first_day': (l.operating_day - ((isodow(l.operating_day) - s.week_start + 7) % 7)::INTEGER)::DATE},
      {'kind': 'month', 'first_day': date_trunc('month', l.operating_day)::DATE}]) AS period
  FROM lab_results l JOIN line_settings s ON s.plant = l.plant AND s.line = l.line
  WHERE l.is_used AND l.value IS NOT NULL AND l.point IN ('feed', 'cake', 'filtrate')
), step AS (
  SELECT plant, line, point, analyte, period, x,
    count(*) FILTER (NOT is_below) AS detected,
    sum(count(*)) OVER (PARTITION BY plant, line, point, analyte, period ORDER BY x) AS not_above
  FROM result GROUP BY plant, line, point, analyte, period, x
), chance AS (
  SELECT
    *,
    product(1e0 - detected / not_above) OVER (PARTITION BY plant, line, point, analyte, period ORDER BY x DESC) AS below
  FROM step
), mass AS (
  SELECT
    *,
    coalesce(lag(below) OVER (PARTITION BY plant, line, point, analyte, period ORDER BY x DESC), 1e0) - below AS share
  FROM chance
), estimate AS (
  SELECT plant, line, point, analyte, period, sum(x * share ORDER BY x) + min(x) * arg_min(below, x) AS kaplan_meier
  FROM mass
  GROUP BY ALL
)
SELECT
  r.plant,
  r.line,
  r.point,
  r.analyte,
  r.period.kind AS period_kind,
  r.period.first_day AS period_start_day,
  any_value(r.unit) AS unit,
  count(*)::INTEGER AS samples, (count(*) FILTER (r.is_below))::INTEGER AS non_detects,
  avg(r.at_zero ORDER BY r.sample_id) AS mean_at_zero,
  avg(r.value ORDER BY r.sample_id) AS mean_at_half,
  avg(r.at_limit ORDER BY r.sample_id) AS mean_at_limit,
  CASE WHEN non_detects < samples THEN any_value(e.kaplan_meier) END AS mean_kaplan_meier
FROM result r JOIN estimate e USING (plant, line, point, analyte, period)
GROUP BY r.plant, r.line, r.point, r.analyte, r.period
ORDER BY ALL;
