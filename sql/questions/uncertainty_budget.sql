-- question: Which standard uncertainties of meters, lab and polymer stand behind the numbers?
-- explains: the plant file's own where it states them, else defaults of common practice
-- param plant text = : plant id; empty for all
SELECT plant, line, quantity, systematic_pct, systematic_abs, random_pct, random_abs, unit, tau_h, basis, from_utc, to_utc
FROM uncertainty_inputs WHERE $plant IS NULL OR plant = $plant
ORDER BY plant, line, quantity, from_utc;
