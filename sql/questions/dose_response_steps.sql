-- question: What did each step of the dose ladders give?
-- explains: dose, cake and capture after the washout, one row a step, in the order of the dose
-- caution: Step a dose down only inside permit, capture and handling limits, with the rule for stopping and going back agreed before. Polymer on a
-- caution: floor is slippery: contain and clean spills at once.
-- param plant text = : plant id; empty for all
-- param washout number = 30: only steps whose washout was at least so many minutes
SELECT
  plant,
  line,
  ladder,
  step_no,
  start_utc,
  valid_minutes,
  washout_min,
  kg_t_to_lb_dt(dose_active_kg_t) AS dose_lb_active_per_dry_ton,
  dose_active_kg_t,
  feed_ts_pct, cake_ts_pct, cake_samples, capture_pct, step_reason
FROM dose_steps WHERE washout_min >= $washout AND ($plant IS NULL OR plant = $plant)
ORDER BY plant, line, min(start_utc) OVER (PARTITION BY plant, line, ladder), dose_active_kg_t;
