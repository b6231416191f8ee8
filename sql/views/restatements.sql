-- question: Which published KPIs of which operating days changed later, by how much, when and why?
-- unit: that of the KPI named
-- grain: plant, line, operating day, version, KPI that changed
-- formula: each version against the one before; the week's dose before and after from the versions in force then, over the days of the
--          reporting week that were published before
-- source: this project; a note is due above 2 % of a published weekly dose [common practice]
-- known limits: a week counts as published from three days with a dose and 600 processing minutes on; is_provisional shows as 1 or 0
CREATE OR REPLACE VIEW restatements AS
WITH kept AS (
  SELECT h.*, (h.operating_day - ((isodow(h.operating_day) - s.week_start + 7) % 7)::INTEGER)::DATE AS week_start_day,
    lead(known_from_utc) OVER version_of AS known_to_utc,
    lag(h.version) OVER version_of AS old_version
  FROM kpi_day_history h JOIN line_settings s ON s.plant = h.plant AND s.line = h.line
  WINDOW version_of AS (PARTITION BY h.plant, h.line, h.operating_day ORDER BY h.version)
), turn AS (
  SELECT DISTINCT plant, line, week_start_day, known_from_utc AS at_utc FROM kept WHERE version > 1
), week AS (
  SELECT
    t.plant,
    t.line,
    t.week_start_day,
    t.at_utc,
    count(b.dose_active_kg_t) >= 3 AND sum(b.processing_minutes) >= 600 AS is_published,
    ratio_or_null(sum(b.polymer_active_kg), sum(b.dry_solids_t)) AS week_dose_old_kg_t,
    ratio_or_null(sum(a.polymer_active_kg), sum(a.dry_solids_t)) AS week_dose_new_kg_t
  FROM turn t
  JOIN kept b ON b.plant = t.plant AND b.line = t.line AND b.week_start_day = t.week_start_day
    AND b.known_from_utc < t.at_utc AND coalesce(b.known_to_utc >= t.at_utc, true)
  JOIN kept a ON a.plant = b.plant AND a.line = b.line AND a.operating_day = b.operating_day
    AND a.known_from_utc <= t.at_utc AND coalesce(a.known_to_utc > t.at_utc, true)
  GROUP BY t.plant, t.line, t.week_start_day, t.at_utc
), long AS (
  SELECT n.plant, n.line, n.operating_day, n.version, n.known_from_utc, n.change, n.cause, n.files, n.week_start_day,
    unnest([
      {'kpi': 'dose_active_kg_t', 'old': o.dose_active_kg_t, 'new': n.dose_active_kg_t},
      {'kpi': 'dose_active_kg_t_u', 'old': o.dose_active_kg_t_u, 'new': n.dose_active_kg_t_u},
      {'kpi': 'dry_solids_t', 'old': o.dry_solids_t, 'new': n.dry_solids_t},
      {'kpi': 'polymer_active_kg', 'old': o.polymer_active_kg, 'new': n.polymer_active_kg},
      {'kpi': 'feed_ts_pct', 'old': o.feed_ts_pct, 'new': n.feed_ts_pct},
      {'kpi': 'cake_ts_pct', 'old': o.cake_ts_pct, 'new': n.cake_ts_pct},
      {'kpi': 'filtrate_tss_mg_l', 'old': o.filtrate_tss_mg_l, 'new': n.filtrate_tss_mg_l},
      {'kpi': 'capture_pct', 'old': o.capture_pct, 'new': n.capture_pct},
      {'kpi': 'mixing_dp_ref_kpa', 'old': o.mixing_dp_ref_kpa, 'new': n.mixing_dp_ref_kpa},
      {'kpi': 'energy_kwh_t', 'old': o.energy_kwh_t, 'new': n.energy_kwh_t},
      {'kpi': 'cost_total_per_t', 'old': o.cost_total_per_t, 'new': n.cost_total_per_t},
      {'kpi': 'run_h', 'old': o.run_h, 'new': n.run_h},
      {'kpi': 'is_provisional', 'old': o.is_provisional::INTEGER::DOUBLE, 'new': n.is_provisional::INTEGER::DOUBLE}
    ]) AS k
  FROM kept n
  JOIN kept o ON o.plant = n.plant
    AND o.line = n.line
    AND o.operating_day = n.operating_day
    AND o.version = n.old_version
)
SELECT l.plant, l.line, l.operating_day, l.version, l.known_from_utc, l.change, l.cause, l.files,
  l.k.kpi AS kpi, l.k.old AS old_value, l.k.new AS new_value,
  l.k.new - l.k.old AS difference, ratio_or_null(l.k.new - l.k.old, abs(l.k.old)) AS relative_change,
  l.week_start_day,
  CASE WHEN w.is_published THEN w.week_dose_old_kg_t END AS week_dose_old_kg_t,
  CASE WHEN w.is_published THEN w.week_dose_new_kg_t END AS week_dose_new_kg_t,
  coalesce(w.is_published AND abs(w.week_dose_new_kg_t / w.week_dose_old_kg_t - 1.0) > 0.02, false) AS is_note_due
FROM long l
LEFT JOIN week w ON w.plant = l.plant
  AND w.line = l.line
  AND w.week_start_day = l.week_start_day
  AND w.at_utc = l.known_from_utc
WHERE l.k.old IS DISTINCT FROM l.k.new;
