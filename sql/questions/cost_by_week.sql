-- question: What did each dry tonne cost, week by week, in the plant's currency?
-- explains: polymer, disposal, power, water and recycle at the prices of the day, per tonne of dry solids and the total per short dry ton too; a total
-- explains: without a term that was priced before is none
-- param plant text = : plant id; empty for all
SELECT
  plant,
  line,
  iso_week,
  dry_solids_t,
  cost_polymer_per_t,
  cost_disposal_per_t,
  cost_power_per_t,
  cost_water_per_t,
  cost_recycle_per_t,
  cost_total_per_t,
  t_to_short_ton(dry_solids_t) AS dry_short_tons, per_t_to_per_short_ton(cost_total_per_t) AS cost_total_per_dry_ton
FROM kpi_week WHERE $plant IS NULL OR plant = $plant
ORDER BY plant, line, week_start_day;
