-- question: Which published numbers of a week rest on a doubted meter, and are they to be widened or withheld?
-- unit: %
-- grain: plant, line, reporting week, KPI
-- formula: a KPI rests on the roles named here; of several doubted ones the largest deviation counts. Beyond 20 % the number is withheld, else its
--          half-width is at least half_width_pct: the deviation itself
-- source: rule of this project
-- known limits: the deviation is that of the week, its days may differ; a meter that no witness could test is not doubted
CREATE OR REPLACE VIEW meter_doubts AS
WITH rests AS (
  SELECT * FROM (VALUES
    ('dose_active_kg_t', 'sludge_flow'),
    ('dose_active_kg_t', 'polymer_neat_flow'),
    ('dose_active_kg_t', 'polymer_solution_flow'),
    ('dose_active_kg_t', 'feed_solids'),
    ('polymer_active_kg', 'polymer_neat_flow'), ('polymer_active_kg', 'polymer_solution_flow'),
    ('dry_solids_t', 'sludge_flow'),
    ('dry_solids_t', 'feed_solids'),
    ('feed_volume_m3', 'sludge_flow'),
    ('mixing_dp_ref_kpa', 'sludge_flow'),
    ('energy_kwh_t', 'sludge_flow'),
    ('energy_kwh_t', 'feed_solids'),
    ('cost_total_per_t', 'sludge_flow'),
    ('cost_total_per_t', 'polymer_neat_flow'),
    ('cost_total_per_t', 'polymer_solution_flow'), ('cost_total_per_t', 'feed_solids'), ('capture_pct', 'feed_solids'),
    ('wear_index', 'sludge_flow'), ('slip_index', 'sludge_flow')
  ) AS r(kpi, role)
)
SELECT i.plant, i.line, i.week_start_day, r.kpi, string_agg(i.role, ', ' ORDER BY i.role) AS roles,
  arg_max(i.deviation_pct, (abs(i.deviation_pct), i.role)) AS deviation_pct,
  CASE WHEN max(abs(i.deviation_pct)) > 20.0 THEN 'withheld' ELSE 'widened' END AS treatment,
  CASE WHEN max(abs(i.deviation_pct)) <= 20.0 THEN max(abs(i.deviation_pct)) END AS half_width_pct,
  string_agg(i.role || ': ' || i.reason, '; ' ORDER BY i.role) AS reason
FROM meter_integrity i JOIN rests r ON r.role = i.role
WHERE i.verdict = 'doubted'
GROUP BY i.plant, i.line, i.week_start_day, r.kpi;
