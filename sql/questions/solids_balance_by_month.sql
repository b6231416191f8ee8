-- question: Do the solids fed agree with those hauled and lost with the filtrate, month by month?
-- explains: closure = (cake + filtrate) / feed with the coverage of each part; 0.95 to 1.05 is usual for a month; refused with a reason when a part is missing
-- param plant text = : plant id; empty for all
SELECT
  plant,
  line,
  period_start_day AS month,
  is_whole,
  t_to_short_ton(feed_solids_t) AS feed_dry_short_tons,
  t_to_short_ton(cake_wet_t) AS cake_wet_short_tons,
  t_to_short_ton(cake_solids_t) AS cake_dry_short_tons, t_to_short_ton(filtrate_solids_t) AS filtrate_dry_short_tons,
  solids_closure, verdict, feed_coverage, cake_coverage, filtrate_coverage, tickets, closure_reason
FROM solids_balance WHERE kind = 'month' AND ($plant IS NULL OR plant = $plant)
ORDER BY plant, line, month;
