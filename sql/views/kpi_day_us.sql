-- question: What does kpi_day say in US units and local time?
-- unit: in the names; tons are short tons of 2,000 lb, gallons US gallons
-- grain: as kpi_day
-- formula: sql/macros/kpi_us.sql: exact unit conversions; no stored number changes
-- source: definitions of the units
-- known limits: none
-- written by `python -m schemas` from the declarations in schemas/kpis
CREATE OR REPLACE VIEW kpi_day_us AS
SELECT * RENAME (
  dry_solids_t_u AS dry_short_tons_u,
  dry_solids_all_t_u AS dry_short_tons_all_u,
  polymer_active_kg_u AS polymer_lb_active_u,
  dose_active_kg_t_u AS dose_lb_active_per_dry_ton_u,
  dose_active_kg_t_u_random AS dose_lb_active_per_dry_ton_u_random,
  dose_active_kg_t_u_systematic AS dose_lb_active_per_dry_ton_u_systematic,
  dose_active_kg_t_u_held AS dose_lb_active_per_dry_ton_u_held,
  mixing_dp_kpa_u AS mixing_dp_psi_u,
  mixing_dp_ref_kpa_u AS mixing_dp_ref_psi_u,
  energy_kwh_t_u AS energy_kwh_per_dry_ton_u,
  cost_total_per_t_u AS cost_total_per_dry_ton_u,
  sludge_register_m3 AS sludge_register_gal
)
FROM (
  SELECT * REPLACE (
    t_to_short_ton(dry_solids_t_u) AS dry_solids_t_u,
    t_to_short_ton(dry_solids_all_t_u) AS dry_solids_all_t_u,
    kg_to_lb(polymer_active_kg_u) AS polymer_active_kg_u,
    kg_t_to_lb_dt(dose_active_kg_t_u) AS dose_active_kg_t_u,
    kg_t_to_lb_dt(dose_active_kg_t_u_random) AS dose_active_kg_t_u_random,
    kg_t_to_lb_dt(dose_active_kg_t_u_systematic) AS dose_active_kg_t_u_systematic,
    kg_t_to_lb_dt(dose_active_kg_t_u_held) AS dose_active_kg_t_u_held,
    kpa_to_psi(mixing_dp_kpa_u) AS mixing_dp_kpa_u,
    kpa_to_psi(mixing_dp_ref_kpa_u) AS mixing_dp_ref_kpa_u,
    per_t_to_per_short_ton(energy_kwh_t_u) AS energy_kwh_t_u,
    per_t_to_per_short_ton(cost_total_per_t_u) AS cost_total_per_t_u,
    m3_to_gal(sludge_register_m3) AS sludge_register_m3
  )
  FROM kpi_us('kpi_day')
);
