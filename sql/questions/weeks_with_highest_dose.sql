-- question: Which weeks had the highest dose, and what else was unusual in them?
-- explains: the ten highest of each line, with feed TS and pressure against the mean of the weeks of the same arrangement (between two events of the line),
-- explains: cake and the flags of the week
-- param plant text = : plant id; empty for all
SELECT
  w.plant,
  w.line,
  w.iso_week,
  w.dose_active_kg_t,
  w.arrangement_since,
  w.feed_ts_pct,
  w.feed_ts_pct - avg(w.feed_ts_pct) OVER mine AS feed_ts_off_pct,
  w.cake_ts_pct, w.mixing_dp_ref_kpa - avg(w.mixing_dp_ref_kpa) OVER mine AS mixing_dp_off_kpa, w.is_provisional,
  (SELECT string_agg(DISTINCT f.detector, ', ' ORDER BY f.detector) FROM flags f
   WHERE f.plant = w.plant AND f.line = w.line AND f.operating_day >= w.week_start_day AND f.operating_day < w.week_start_day + 7) AS flags
FROM (SELECT *, (SELECT max(e.operating_day) FROM line_events e WHERE e.plant = k.plant AND e.line = k.line AND e.operating_day <= k.week_start_day + 3) AS arrangement_since
      FROM kpi_week k) w
WHERE w.dose_active_kg_t IS NOT NULL AND ($plant IS NULL OR w.plant = $plant)
WINDOW mine AS (PARTITION BY w.plant, w.line, w.arrangement_since)
QUALIFY row_number() OVER (PARTITION BY w.plant, w.line ORDER BY w.dose_active_kg_t DESC) <= 10
ORDER BY w.plant, w.line, w.dose_active_kg_t DESC;
