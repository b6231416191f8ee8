-- question: In what range did the KPIs of each line lie on the days of its baseline, by arrangement?
-- unit: as the KPI named (column of kpi_day)
-- grain: plant, line, arrangement (null: none declared), KPI
-- formula: 10 % and 90 % quantiles (linear between ranks) over final days of one arrangement outside its transition; of a line with declared
--          baseline periods the days inside them, else all its days; 10 days needed
-- source: quantiles after the type 7 of Hyndman and Fan, The American Statistician 50 (1996) 361 [from memory]; 10 days common practice, no source
-- known limits: a range of days, not of weeks, whose values scatter less; says what was usual, not what is good
CREATE OR REPLACE VIEW usual_ranges AS
WITH day AS (
  SELECT k.plant, k.line, k.operating_day, k.arrangement,
    k.dose_active_kg_t, k.cake_ts_pct, k.capture_pct, k.cost_total_per_t, k.dry_solids_all_t, k.mixing_dp_ref_kpa
  FROM kpi_day k
  WHERE NOT k.is_provisional AND k.arrangement_note IS NULL AND k.processing_minutes > 0
    AND (NOT EXISTS (SELECT 1 FROM baseline_periods b WHERE b.plant = k.plant AND b.line = k.line)
      OR EXISTS (SELECT 1 FROM baseline_periods b
        WHERE b.plant = k.plant AND b.line = k.line AND k.operating_day BETWEEN b.first_day AND b.last_day))
), known AS (
  UNPIVOT day
  ON dose_active_kg_t, cake_ts_pct, capture_pct, cost_total_per_t, dry_solids_all_t, mixing_dp_ref_kpa
  INTO NAME kpi VALUE value
)
SELECT plant, line, arrangement, kpi,
  count(*)::INTEGER AS days,
  min(operating_day) AS first_day,
  max(operating_day) AS last_day,
  CASE WHEN count(*) >= 10 THEN quantile_cont(value, 0.1) END AS low,
  CASE WHEN count(*) >= 10 THEN quantile_cont(value, 0.5) END AS middle,
  CASE WHEN count(*) >= 10 THEN quantile_cont(value, 0.9) END AS high,
  CASE WHEN count(*) < 10 THEN format('{} final days with a value, 10 needed', count(*)) END AS range_reason
FROM known
GROUP BY plant, line, arrangement, kpi;
