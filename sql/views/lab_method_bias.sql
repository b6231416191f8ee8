-- question: Do two methods of the same sample read alike?
-- unit: that of the analyte
-- grain: plant, line, point, analyte and method beside the preferred one
-- formula: mean of (other - preferred) over samples run by both, +- t(0.975, pairs - 1) x standard deviation / sqrt(pairs)
-- source: paired comparison, textbook form, from memory
-- known limits: samples that the plant file's [lab] methods keep apart; pairs with a non-detect and sets that contradict themselves are left out;
--               two pairs at least; the difference is taken as the same at every level
CREATE OR REPLACE VIEW lab_method_bias AS
WITH pair AS (
  SELECT
    a.plant,
    a.line,
    a.point,
    a.analyte,
    a.unit,
    a.method AS preferred_method,
    b.method AS other_method,
    a.sample_id,
    b.value - a.value AS difference
  FROM lab_results a JOIN lab_results b
    ON b.plant = a.plant
      AND b.line = a.line
      AND b.point = a.point
      AND b.analyte = a.analyte
      AND b.sample_id = a.sample_id || ' [' || b.method || ']'
  WHERE a.is_used AND a.detection_limit IS NULL AND b.detection_limit IS NULL
), summed AS (
  SELECT
    plant,
    line,
    point,
    analyte,
    any_value(unit) AS unit,
    preferred_method,
    other_method,
    count(*)::INTEGER AS pairs,
    avg(difference ORDER BY sample_id) AS mean_difference, stddev_samp(difference ORDER BY sample_id) AS sd_difference
  FROM pair GROUP BY plant, line, point, analyte, preferred_method, other_method
)
SELECT *, mean_difference - t_975(pairs - 1) * sd_difference / sqrt(pairs) AS low_95,
  mean_difference + t_975(pairs - 1) * sd_difference / sqrt(pairs) AS high_95,
  low_95 > 0 OR high_95 < 0 AS is_biased
FROM summed
ORDER BY plant, line, point, analyte, preferred_method, other_method;
