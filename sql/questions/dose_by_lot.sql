-- question: Which dose and cake did each polymer delivery give?
-- explains: the operating days from a delivery to the next one of the plant; a tank mixes lots, so the first days of a lot are still the old one
-- param plant text = : plant id; empty for all
WITH lot AS (
  SELECT
    plant,
    operating_day AS from_day,
    lot,
    value AS delivered_kg,
    lead(operating_day) OVER (PARTITION BY plant ORDER BY operating_day, sample_id) AS next_day
  FROM lab_results WHERE point = 'polymer store' AND analyte = 'delivered_mass' AND is_used AND ($plant IS NULL OR plant = $plant)
)
SELECT l.plant, d.line, l.lot, l.from_day, kg_to_lb(any_value(l.delivered_kg)) AS delivered_lb_neat, count(d.dose_active_kg_t) AS days,
  kg_t_to_lb_dt(ratio_or_null(sum(d.polymer_active_kg), sum(d.dry_solids_t))) AS dose_lb_active_per_dry_ton,
  ratio_or_null(sum(d.cake_ts_pct * d.dry_solids_t), sum(d.dry_solids_t) FILTER (d.cake_ts_pct IS NOT NULL)) AS cake_ts_pct,
  ratio_or_null(sum(d.capture_pct * d.dry_solids_t), sum(d.dry_solids_t) FILTER (d.capture_pct IS NOT NULL)) AS capture_pct
FROM lot l JOIN kpi_day d ON d.plant = l.plant AND d.operating_day >= l.from_day AND d.operating_day < coalesce(l.next_day, DATE '9999-01-01')
GROUP BY l.plant, d.line, l.lot, l.from_day ORDER BY l.plant, d.line, l.from_day;
