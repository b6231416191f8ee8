-- question: Where does the lab report the same number again and again?
-- unit: that of the analyte
-- grain: plant, line, point, analyte and run of equal results
-- formula: results in order of sampling, equal to two decimals four times or more
-- source: common practice, no source
-- known limits: non-detects are left out, for a limit repeats by itself; amounts on tickets and in store are left out; the results stay in use
CREATE OR REPLACE VIEW lab_repeats AS
WITH ordered AS (
  SELECT *, round(value, 2) AS shown, coalesce(shown <> lag(shown) OVER series, true) AS is_new
  FROM lab_results
  WHERE value IS NOT NULL AND detection_limit IS NULL AND point IN ('feed', 'cake', 'filtrate', 'polymer solution')
    AND unused_reason IS DISTINCT FROM 'another method of the same sample counts'
  WINDOW series AS (PARTITION BY plant, line, point, analyte ORDER BY from_utc, to_utc, sample_id)
), numbered AS (
  SELECT *, count_if(is_new) OVER (PARTITION BY plant, line, point, analyte ORDER BY from_utc, to_utc, sample_id) AS run
  FROM ordered
)
SELECT plant, line, point, analyte, any_value(shown) AS value, any_value(unit) AS unit, count(*)::INTEGER AS times,
  min(operating_day) AS first_day, max(operating_day) AS last_day
FROM numbered
GROUP BY plant, line, point, analyte, run
HAVING count(*) >= 4
ORDER BY plant, line, point, analyte, first_day;
