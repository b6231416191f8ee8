-- question: What does each dose ladder say: where the plateau begins, how far the usual dose lies above it, and how active the polymer was?
-- unit: in the names
-- grain: line, ladder
-- formula: d_opt = lowest step dose with cake within 0.5 points of the best cake and capture within 1 point of the best capture of the ladder;
--          overfeed margin = 100 (usual dose / d_opt - 1), usual dose = ratio of totals of the last 7 days with a dose, of the 28 before it,
--          that lie in no ladder and not before the last event of the line; no margin where the optimum lies at an end of the ladder; dose at reference cake = straight line between the neighbouring steps at the cake of d_opt of the line's first ladder
--          whose d_opt is not its highest step; activity index = that ladder's dose / this one's;
--          its u = index x (d2 - d1)/(c2 - c1) x u_cake x root(f2 + (1 - f)2 + 1) / dose, f where the cake lies between the steps, u_cake of a step's
--          mean from uncertainty_inputs; an index with more than 20 % is not usable
-- source: common practice, no source
-- known limits: a plain rule, no fitted curve: the distances are about the error of a day's cake and capture; u holds the scatter of cake grabs only; three steps with dose,
--          cake and capture needed; activity also needs feed TS within 10 % of the first ladder's and a capture there of no less than 1 point below it;
--          it shows all that differs between two ladders: polymer, water, sludge and arrangement
CREATE OR REPLACE VIEW dose_curves AS
WITH step AS (
  SELECT * FROM dose_steps WHERE dose_active_kg_t IS NOT NULL AND cake_ts_pct IS NOT NULL AND capture_pct IS NOT NULL
), best AS (
  SELECT plant, line, ladder, count(*)::INTEGER AS steps, min(first_day) AS first_day, max(last_day) AS last_day,
    min(dose_active_kg_t) AS low_kg_t,
    max(dose_active_kg_t) AS high_kg_t,
    max(cake_ts_pct) AS plateau_cake_pct,
    max(capture_pct) AS plateau_capture_pct,
    avg(feed_ts_pct ORDER BY start_utc) AS feed_ts_pct
  FROM step GROUP BY plant, line, ladder
), optimum AS (
  SELECT b.plant, b.line, b.ladder, min(s.dose_active_kg_t) AS d_opt_kg_t,
    arg_min(s.cake_ts_pct, s.dose_active_kg_t) AS cake_opt_pct,
    arg_min(s.capture_pct, s.dose_active_kg_t) AS capture_opt_pct
  FROM best b JOIN step s ON s.plant = b.plant AND s.line = b.line AND s.ladder = b.ladder
  WHERE b.steps >= 3 AND s.cake_ts_pct >= b.plateau_cake_pct - 0.5 AND s.capture_pct >= b.plateau_capture_pct - 1.0
  GROUP BY b.plant, b.line, b.ladder
), before AS (
  SELECT b.plant, b.line, b.ladder, k.polymer_active_kg, k.dry_solids_t
  FROM best b
  JOIN kpi_day k ON k.plant = b.plant
    AND k.line = b.line
    AND k.operating_day >= b.first_day - 28
    AND k.operating_day < b.first_day
    AND NOT EXISTS (SELECT 1 FROM line_events e WHERE e.plant = k.plant AND e.line = k.line AND e.operating_day > k.operating_day AND e.operating_day <= b.first_day)
  WHERE k.dose_active_kg_t IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM ladder_steps s WHERE s.plant = k.plant AND s.line = k.line AND k.operating_day BETWEEN s.first_day AND s.last_day)
  QUALIFY row_number() OVER (PARTITION BY b.plant, b.line, b.ladder ORDER BY k.operating_day DESC) <= 7
), usual AS (
  SELECT plant, line, ladder, ratio_or_null(sum(polymer_active_kg), sum(dry_solids_t)) AS usual_kg_t
  FROM before
  GROUP BY plant, line, ladder
), first_ladder AS (
  SELECT o.plant, o.line, arg_min(o.ladder, b.first_day) AS ladder, arg_min(o.d_opt_kg_t, b.first_day) AS d_ref_kg_t,
    arg_min(o.cake_opt_pct, b.first_day) AS cake_ref_pct, arg_min(o.capture_opt_pct, b.first_day) AS capture_ref_pct,
    arg_min(b.feed_ts_pct, b.first_day) AS feed_ts_ref_pct
  FROM optimum o JOIN best b ON b.plant = o.plant AND b.line = o.line AND b.ladder = o.ladder
  WHERE o.d_opt_kg_t < b.high_kg_t GROUP BY o.plant, o.line
), grab AS (
  SELECT b.plant, b.line, b.ladder, sqrt(sum(pow(i.random_abs, 2) ORDER BY i.quantity)) AS grab_u
  FROM best b
  JOIN uncertainty_inputs i ON i.plant = b.plant
    AND i.line = b.line
    AND b.first_day >= i.from_utc
    AND b.first_day < i.to_utc
  WHERE i.quantity IN ('cake ts sampling', 'cake ts analysis') GROUP BY ALL
), neighbour AS (
  SELECT
    plant,
    line,
    ladder,
    dose_active_kg_t AS d1,
    cake_ts_pct AS c1,
    capture_pct AS r1,
    least(cake_samples, lead(cake_samples) OVER w) AS grabs,
    lead(dose_active_kg_t) OVER w AS d2, lead(cake_ts_pct) OVER w AS c2, lead(capture_pct) OVER w AS r2
  FROM step WINDOW w AS (PARTITION BY plant, line, ladder ORDER BY dose_active_kg_t, start_utc)
), crossing AS (
  SELECT n.plant, n.line, n.ladder, min(n.d1 + (n.d2 - n.d1) * (f.cake_ref_pct - n.c1) / (n.c2 - n.c1)) AS d_equal_kg_t,
    arg_min(n.r1 + (n.r2 - n.r1) * (f.cake_ref_pct - n.c1) / (n.c2 - n.c1), n.d1) AS capture_equal_pct,
    arg_min((n.d2 - n.d1) / (n.c2 - n.c1) * sqrt((1 + pow((f.cake_ref_pct - n.c1) / (n.c2 - n.c1), 2) + pow((n.c2 - f.cake_ref_pct) / (n.c2 - n.c1), 2)) / nullif(n.grabs, 0)), n.d1) AS d_per_cake
  FROM neighbour n JOIN first_ladder f ON f.plant = n.plant AND f.line = n.line
  WHERE n.c2 > n.c1 AND f.cake_ref_pct BETWEEN n.c1 AND n.c2
  GROUP BY n.plant, n.line, n.ladder
), judged AS (
  SELECT
    b.*,
    o.d_opt_kg_t,
    u.usual_kg_t,
    c.d_equal_kg_t,
    c.capture_equal_pct,
    g.grab_u * c.d_per_cake / c.d_equal_kg_t AS equal_u,
    f.d_ref_kg_t,
    f.capture_ref_pct,
    f.cake_ref_pct,
    f.ladder AS reference_ladder,
    CASE
      WHEN o.d_opt_kg_t IS NULL AND b.steps < 3 THEN format('{} steps with dose, cake and capture, 3 needed', b.steps)
      WHEN o.d_opt_kg_t IS NULL THEN 'no step reaches cake and capture of the plateau together' END AS optimum_reason,
    CASE
      WHEN f.d_ref_kg_t IS NULL THEN 'no reference ladder with an optimum'
      WHEN abs(b.feed_ts_pct / f.feed_ts_ref_pct - 1.0) > 0.10 THEN 'feed TS more than 10 % from the reference ladder'
      WHEN c.d_equal_kg_t IS NULL THEN 'cake of the reference ladder outside the steps'
      WHEN c.capture_equal_pct < f.capture_ref_pct - 1.0 THEN 'capture lower at equal cake'
      WHEN b.ladder <> f.ladder
        AND equal_u > 0.20 THEN format('not usable: cake grabs leave {:.0f} % of it open', 100.0 * equal_u)
    END AS activity_reason
  FROM best b
  LEFT JOIN optimum o ON o.plant = b.plant AND o.line = b.line AND o.ladder = b.ladder
  LEFT JOIN usual u ON u.plant = b.plant AND u.line = b.line AND u.ladder = b.ladder
  LEFT JOIN first_ladder f ON f.plant = b.plant AND f.line = b.line
  LEFT JOIN grab g ON g.plant = b.plant AND g.line = b.line AND g.ladder = b.ladder
  LEFT JOIN crossing c ON c.plant = b.plant AND c.line = b.line AND c.ladder = b.ladder
)
SELECT
  plant,
  line,
  ladder,
  first_day,
  last_day,
  steps,
  low_kg_t AS lowest_dose_kg_t,
  high_kg_t AS highest_dose_kg_t,
  plateau_cake_pct,
  plateau_capture_pct,
  feed_ts_pct, d_opt_kg_t AS optimum_dose_kg_t,
  CASE
    WHEN d_opt_kg_t = high_kg_t THEN 'at the highest step: the plateau may lie higher'
    WHEN d_opt_kg_t = low_kg_t THEN 'at the lowest step: the optimum may lie lower' END AS optimum_note,
  optimum_reason,
  usual_kg_t AS usual_dose_kg_t,
  CASE WHEN optimum_note IS NULL THEN 100.0 * (ratio_or_null(usual_kg_t, d_opt_kg_t) - 1.0) END AS overfeed_margin_pct,
  reference_ladder, cake_ref_pct AS reference_cake_pct,
  CASE WHEN activity_reason IS NULL THEN d_equal_kg_t END AS dose_at_reference_cake_kg_t,
  CASE WHEN activity_reason IS NULL THEN ratio_or_null(d_ref_kg_t, d_equal_kg_t) END AS activity_index,
  CASE
    WHEN activity_reason IS NULL AND ladder <> reference_ladder THEN equal_u * ratio_or_null(d_ref_kg_t, d_equal_kg_t) END AS activity_index_u,
  activity_reason
FROM judged;
