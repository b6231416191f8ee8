-- question: How well is the mean feed TS of each day at hand known from its samples?
-- unit: variances relative to the value (1 = 100 % squared); h
-- grain: line, operating day with a dose (work table)
-- formula: GUM (JCGM 100) sum of variances. A sample's own: sampling2 + analysis2 / replicates, once a sample, however many minutes share it.
--          Between sample and minutes the TS wanders (first-order autoregressive, scatter s, time constant tau): a timed sample speaks for
--          the span nearest to it: s2 (F + 1 - 2k); a grab at an unknown time of the day: s2 (1 - F); a held TS relaxes to the 14-day median:
--          k2 lab2 + s2 (F - k2) + (1 - k)2 u2(median); F = wander_of_mean, k = kept_in_mean
-- source: JCGM 100 5.1; the wander after its correlation function; s2 from the scatter of ln TS of 14 days less the lab's share, raised by
--         1/(1 - F) since near samples agree, and drawn towards the default with the weight of five independent samples [common practice]
-- known limits: the flow is taken as even over the day; lab errors are taken as independent from sample to sample, a bias of the lab is
--          not seen; s is the plant file's, else learned from five samples or more, else the default; independent samples of a span
--          are taken as 1 + span / (2 tau), no more than there are
CREATE OR REPLACE TABLE work.day_feed_variance AS
WITH span AS (
  SELECT line, operating_day, min(minute_utc) AS first_utc, max(minute_utc) + INTERVAL 1 MINUTE AS end_utc,
    date_diff('second', first_utc, end_utc) / 3600.0 AS hours
  FROM work.minute_kpi
  WHERE is_dosed AND operating_day IN (SELECT operating_day FROM work.touched_days)
  GROUP BY line, operating_day
), said AS (
  SELECT line,
    pow(max(random_pct) FILTER (quantity = 'feed ts sampling') / 100.0, 2) AS sampling_var,
    pow(max(random_pct) FILTER (quantity = 'feed ts analysis') / 100.0, 2) AS analysis_var,
    pow(max(random_pct) FILTER (quantity = 'feed ts scatter') / 100.0, 2) AS scatter_var,
    bool_or(quantity = 'feed ts scatter' AND basis = 'plant file') AS is_given,
    max(random_pct) FILTER (quantity = 'feed ts untimed') / 100.0 AS grab_share
  FROM uncertainty_inputs GROUP BY line
), sample AS (
  SELECT f.*, s.sampling_var + s.analysis_var / l.replicates AS lab_var
  FROM work.feed_samples f
  JOIN said s ON s.line = f.line
  JOIN lab_results l ON l.sample_id = f.sample_id AND l.analyte = 'ts'
), seen AS (
  SELECT
    p.*,
    any_value(d.solids_hold_tau_h) AS tau_h,
    any_value(s.grab_share) AS grab_share,
    any_value(s.is_given) AS is_given,
    any_value(s.scatter_var) AS default_var,
    count(f.sample_id) AS trail_samples,
    avg(f.lab_var ORDER BY f.sample_id) AS trail_lab_var,
    coalesce(date_diff('second', min(f.at_utc), max(f.at_utc)) / 3600.0, 0.0) AS trail_h,
    var_samp(ln(f.ts_pct) ORDER BY f.sample_id) AS seen_var
  FROM span p
  JOIN said s ON s.line = p.line
  JOIN work.day_feed_ts d ON d.line = p.line AND d.operating_day = p.operating_day
  LEFT JOIN sample f ON f.line = p.line
    AND f.operating_day BETWEEN p.operating_day - (SELECT held_ts_days FROM work.limits)::INTEGER AND p.operating_day - 1
  GROUP BY ALL
), freed AS (
  SELECT *, trail_h / (2.0 * greatest(tau_h, 1.0)) AS trail_freedom, wander_of_mean(trail_h, tau_h) AS trail_f FROM seen
), trail AS (
  SELECT * EXCLUDE (is_given, default_var, seen_var, trail_f),
    CASE WHEN is_given OR trail_samples < 5 OR trail_h = 0 THEN default_var
      ELSE (5.0 * default_var + trail_freedom * greatest(seen_var - trail_lab_var, 0.0) / (1.0 - trail_f)) / (5.0 + trail_freedom) END AS scatter_var
  FROM freed
), moment AS (
  SELECT
    line,
    operating_day,
    at_utc,
    bool_or(is_timed) AS is_timed,
    sum(lab_var ORDER BY sample_id) / pow(count(*), 2) AS lab_var
  FROM sample GROUP BY line, operating_day, at_utc
), cell AS (
  SELECT t.line, t.operating_day, t.hours, t.tau_h, t.scatter_var, m.at_utc, m.lab_var,
    greatest(date_diff('second', m.at_utc, t.first_utc), coalesce(date_diff('second', m.at_utc, lag(m.at_utc) OVER day) / 2.0, -1e9))
      / 3600.0 AS from_h,
    least(date_diff('second', m.at_utc, t.end_utc), coalesce(date_diff('second', m.at_utc, lead(m.at_utc) OVER day) / 2.0, 1e9)) / 3600.0 AS to_h
  FROM trail t JOIN moment m ON m.line = t.line AND m.operating_day = t.operating_day AND m.is_timed
  WINDOW day AS (PARTITION BY m.line, m.operating_day ORDER BY m.at_utc)
), timed AS (
  SELECT
    line,
    operating_day,
    sum(pow((to_h - from_h) / hours, 2) * (lab_var + scatter_var * (f + 1.0 - 2.0 * k)) ORDER BY at_utc) AS var
  FROM (SELECT *, wander_of_mean(to_h - from_h, tau_h) AS f, kept_in_mean(from_h, to_h, tau_h) AS k FROM cell WHERE to_h > from_h)
  GROUP BY line, operating_day
), untimed AS (
  SELECT t.line, t.operating_day, sum(s.lab_var ORDER BY s.sample_id) / pow(count(*), 2)
    + any_value(t.grab_share * t.scatter_var * (1.0 - wander_of_mean(t.hours, t.tau_h))) / count(*) AS var
  FROM trail t
  JOIN sample s ON s.line = t.line AND s.operating_day = t.operating_day AND NOT s.is_timed AND NOT s.is_long
  GROUP BY t.line, t.operating_day
), newest AS (
  SELECT t.*, m.lab_var, wander_of_mean(t.hours, t.tau_h) AS f,
    kept_in_mean(date_diff('second', m.at_utc, t.first_utc) / 3600.0, date_diff('second', m.at_utc, t.end_utc) / 3600.0, t.tau_h) AS k
  FROM trail t ASOF JOIN moment m ON m.line = t.line AND t.first_utc >= m.at_utc
), held AS (
  SELECT line, operating_day,
    CASE WHEN trail_samples <= 1 THEN lab_var + scatter_var * (f + 1.0 - 2.0 * k)
      ELSE k * k * lab_var + scatter_var * greatest(f - k * k, 0.0) + pow(1.0 - k, 2) * pi() / 2.0
        * (scatter_var / least(trail_samples, 1.0 + trail_freedom) + trail_lab_var / trail_samples) END AS var
  FROM newest
)
SELECT t.line, t.operating_day, t.hours, t.scatter_var,
  CASE
    WHEN a.var IS NOT NULL THEN greatest(a.var, 0.0)
    WHEN b.var IS NOT NULL THEN greatest(b.var, 0.0) END AS fresh_var,
  CASE WHEN a.var IS NULL AND b.var IS NULL AND h.var IS NOT NULL THEN greatest(h.var, 0.0) END AS held_var
FROM trail t
LEFT JOIN timed a ON a.line = t.line AND a.operating_day = t.operating_day
LEFT JOIN untimed b ON b.line = t.line AND b.operating_day = t.operating_day
LEFT JOIN held h ON h.line = t.line AND h.operating_day = t.operating_day
ORDER BY t.line, t.operating_day;
