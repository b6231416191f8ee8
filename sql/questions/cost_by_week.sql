-- question: What did each dry ton cost, week by week, in the plant's currency?
-- explains: polymer, disposal, power, water and recycle at the prices of the day, per short dry ton
-- param plant text = : plant id; empty for all
SELECT plant, line, iso_week, dry_short_tons, cost_polymer_per_dry_ton, cost_disposal_per_dry_ton, cost_power_per_dry_ton, cost_water_per_dry_ton,
  cost_recycle_per_dry_ton, cost_total_per_dry_ton
FROM kpi_week_us WHERE $plant IS NULL OR plant = $plant
ORDER BY plant, line, week_start_day;
