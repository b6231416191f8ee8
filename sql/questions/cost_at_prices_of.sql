-- question: What would each dry tonne have cost, week by week, at the prices of one date?
-- explains: parts the effect of use from that of prices; set `day` to the baseline for baseline prices; polymer goes by its active
-- explains: kg at the price per active kg of the product of that date; parts without a price are left out
-- param plant text = alder-fork: plant id
-- param day date = 2026-01-05: date whose prices are used
SELECT d.line, w.week_start_day, sum(d.dry_solids_t) AS dry_solids_t,
  sum(d.cost_total_per_t * d.dry_solids_t) / sum(d.dry_solids_t) AS cost_per_t,
  sum((coalesce(d.polymer_active_kg * p.price_per_kg_neat / p.active_fraction / d.dry_solids_t, 0) + coalesce(wet_cake_t(1.0, d.capture_pct, d.cake_ts_pct) * r.disposal_per_wet_t, 0)
    + coalesce(d.energy_kwh_t * r.power_per_kwh, 0) + coalesce(d.cost_water_per_t * ratio_or_null(r.water_per_m3, o.water_per_m3), 0)
    + coalesce((1 - d.capture_pct / 100) * 1000 * r.recycle_per_kg, 0)) * d.dry_solids_t) / sum(d.dry_solids_t) AS cost_at_prices_of_day_per_t
FROM kpi_day d JOIN kpi_week w ON w.plant = d.plant AND w.line = d.line AND d.operating_day BETWEEN w.week_start_day AND w.week_start_day + 6
JOIN prices o ON o.plant = d.plant AND d.period_start_utc >= o.from_utc AND d.period_start_utc < o.to_utc
JOIN prices r ON r.plant = d.plant AND $day >= r.from_utc AND $day < r.to_utc
JOIN polymers p ON p.plant = d.plant AND p.line = d.line AND $day >= p.from_utc AND $day < p.to_utc
WHERE d.plant = $plant AND d.cost_total_per_t IS NOT NULL GROUP BY ALL ORDER BY d.line, w.week_start_day;
