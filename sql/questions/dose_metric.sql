-- question: What was the dose per tonne, active and as supplied?
-- explains: the same totals, in kg per tonne dry solids
-- caution: Step a dose down only inside permit, capture and handling limits, with the rule for stopping and going back agreed before. Polymer on a
-- caution: floor is slippery: contain and clean spills at once.
-- param plant text = : plant id; empty for all
-- param since date = 2026-01-01: first operating day
SELECT plant, line, operating_day, dose_active_kg_t, dose_neat_kg_t, dry_solids_t, polymer_active_kg, polymer_neat_kg
FROM kpi_day
WHERE operating_day >= $since AND ($plant IS NULL OR plant = $plant) AND dry_solids_t > 0
ORDER BY plant, line, operating_day;
