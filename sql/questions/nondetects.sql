-- question: How much do filtrate and capture depend on what non-detects count?
-- explains: weeks with non-detects in the filtrate: TSS and capture at 0, half (as in the KPIs) and the whole limit, and the Kaplan-Meier mean of TSS
-- param plant text = : plant id; empty for all
SELECT c.plant, c.line, c.period_start_day AS week, c.filtrate_samples, c.non_detects, n.mean_at_zero AS tss_at_zero_mg_l,
  n.mean_at_half AS tss_at_half_mg_l, n.mean_kaplan_meier AS tss_kaplan_meier_mg_l, n.mean_at_limit AS tss_at_limit_mg_l,
  c.capture_at_zero_pct, c.capture_at_half_pct, c.capture_at_limit_pct
FROM capture_nondetects c JOIN lab_nondetects n USING (plant, line, period_kind, period_start_day)
WHERE c.period_kind = 'week' AND n.point = 'filtrate' AND n.analyte = 'tss' AND c.non_detects > 0 AND ($plant IS NULL OR plant = $plant)
ORDER BY plant, line, week;
