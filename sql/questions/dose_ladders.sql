-- question: Where does the plateau begin on each dose ladder, and how far above it is the usual dose?
-- explains: lowest step dose with cake within 0.5 and capture within 1 point of the best; overfeed margin against the 7 days before in
-- explains: the same arrangement (since the line's last event); activity against the line's first ladder at equal cake, with what the scatter of cake grabs
-- explains: leaves open (standard uncertainty). A plain rule: steps are few and days differ
-- caution: Step a dose down only inside permit, capture and handling limits, with the rule for stopping and going back agreed before. Polymer on a
-- caution: floor is slippery: contain and clean spills at once.
-- param plant text = : plant id; empty for all
SELECT
  plant,
  line,
  ladder,
  first_day,
  steps,
  kg_t_to_lb_dt(optimum_dose_kg_t) AS optimum_lb_active_per_dry_ton,
  optimum_dose_kg_t,
  plateau_cake_pct,
  plateau_capture_pct,
  usual_dose_kg_t, overfeed_margin_pct, activity_index, activity_index_u, coalesce(optimum_reason, optimum_note) AS note, activity_reason
FROM dose_curves WHERE $plant IS NULL OR plant = $plant
ORDER BY plant, line, first_day;
