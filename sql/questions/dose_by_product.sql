-- question: What were dose and cake on each polymer product?
-- explains: products with their dates as the plant file gives them
-- param plant text = : plant id; empty for all
SELECT
  d.plant,
  d.line,
  p.product,
  p.active_fraction,
  count(*) AS days,
  ratio_or_null(sum(d.polymer_active_kg), sum(d.dry_solids_t)) AS dose_active_kg_t,
  ratio_or_null(sum(d.cake_ts_pct * d.dry_solids_t), sum(d.dry_solids_t) FILTER (d.cake_ts_pct IS NOT NULL)) AS cake_ts_pct
FROM kpi_day d JOIN polymers p ON p.plant = d.plant AND p.line = d.line AND d.period_start_utc >= p.from_utc AND d.period_start_utc < p.to_utc
WHERE d.dry_solids_t > 0 AND ($plant IS NULL OR d.plant = $plant)
GROUP BY ALL ORDER BY d.plant, d.line, p.product;
