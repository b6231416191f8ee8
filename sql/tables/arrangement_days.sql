-- question: Which arrangement stood on each line on each day at hand, and what share of the day's processing did it have?
-- unit: min; share 0 to 1
-- grain: line, operating day, arrangement in force in any minute of the day
-- formula: processing minutes of the arrangement / processing minutes of the line; in transition when all of its processing minutes are
--          (without processing, all of its minutes); mixed when the day has processing minutes of another arrangement or of none declared
-- source: plant file; running states common practice, no source
-- known limits: a day without a declared arrangement has no row
CREATE OR REPLACE TABLE work.arrangement_days AS
WITH whole_day AS (
  SELECT line, operating_day, count(CASE WHEN is_processing THEN 1 END) AS processing_minutes
  FROM work.minute_kpi
  GROUP BY line, operating_day
), part AS (
  SELECT any_value(plant) AS plant, line, operating_day, arrangement,
    count(CASE WHEN is_processing THEN 1 END) AS processing_minutes,
    count(CASE WHEN is_processing AND is_in_transition THEN 1 END) AS transition_minutes,
    bool_and(is_in_transition) AS is_all_transition
  FROM work.minute_kpi
  WHERE arrangement IS NOT NULL AND operating_day IN (SELECT operating_day FROM work.touched_days)
  GROUP BY line, operating_day, arrangement
)
SELECT p.plant, p.line, p.operating_day, p.arrangement,
  p.processing_minutes::INTEGER AS processing_minutes,
  ratio_or_null(p.processing_minutes::DOUBLE, w.processing_minutes) AS processing_share,
  p.transition_minutes::INTEGER AS transition_minutes,
  CASE
    WHEN p.processing_minutes > 0 THEN p.transition_minutes = p.processing_minutes
    ELSE p.is_all_transition END AS is_in_transition,
  p.processing_minutes > 0 AND p.processing_minutes < w.processing_minutes AS is_mixed,
  v.data_version
FROM part p
JOIN whole_day w ON w.line = p.line AND w.operating_day = p.operating_day
LEFT JOIN work.span_versions v ON v.first_day = p.operating_day AND v.last_day = p.operating_day
ORDER BY p.line, p.operating_day, p.arrangement;
