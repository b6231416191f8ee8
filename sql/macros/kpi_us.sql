-- question: What does a KPI table say in US units and local time?
-- unit: in the names; tons are short tons of 2,000 lb, gallons US gallons
-- grain: as the table named; the one place where KPIs are converted, for all five views
-- formula: exact unit conversions; the columns before period_start_utc are the table's key; a column not named here stays as it is
-- source: definitions of the units
-- known limits: no stored number changes; REPLACE converts in place, RENAME says the unit
CREATE OR REPLACE MACRO kpi_us(kpi_table) AS TABLE
SELECT * RENAME (
  feed_volume_m3 AS feed_volume_gal,
  feed_volume_all_m3 AS feed_volume_all_gal,
  sludge_flow_m3_h AS sludge_flow_gpm,
  dry_solids_t AS dry_short_tons,
  dry_solids_held_t AS dry_short_tons_held,
  polymer_active_kg AS polymer_lb_active,
  polymer_neat_kg AS polymer_lb_neat,
  dose_active_kg_t AS dose_lb_active_per_dry_ton,
  dose_neat_kg_t AS dose_lb_neat_per_dry_ton,
  pump_dp_kpa AS pump_dp_psi,
  pump_head_m AS pump_head_ft,
  mixing_dp_kpa AS mixing_dp_psi,
  mixing_dp_ref_kpa AS mixing_dp_ref_psi,
  energy_kwh_t AS energy_kwh_per_dry_ton,
  wash_water_m3 AS wash_water_gal,
  cost_polymer_per_t AS cost_polymer_per_dry_ton,
  cost_disposal_per_t AS cost_disposal_per_dry_ton,
  cost_power_per_t AS cost_power_per_dry_ton,
  cost_water_per_t AS cost_water_per_dry_ton,
  cost_recycle_per_t AS cost_recycle_per_dry_ton,
  cost_total_per_t AS cost_total_per_dry_ton
)
FROM (
  SELECT * REPLACE (
    m3_to_gal(feed_volume_m3) AS feed_volume_m3,
    m3_to_gal(feed_volume_all_m3) AS feed_volume_all_m3,
    m3_h_to_gpm(sludge_flow_m3_h) AS sludge_flow_m3_h,
    t_to_short_ton(dry_solids_t) AS dry_solids_t,
    t_to_short_ton(dry_solids_held_t) AS dry_solids_held_t,
    kg_to_lb(polymer_active_kg) AS polymer_active_kg,
    kg_to_lb(polymer_neat_kg) AS polymer_neat_kg,
    kg_t_to_lb_dt(dose_active_kg_t) AS dose_active_kg_t,
    kg_t_to_lb_dt(dose_neat_kg_t) AS dose_neat_kg_t,
    kpa_to_psi(pump_dp_kpa) AS pump_dp_kpa,
    m_to_ft(pump_head_m) AS pump_head_m,
    kpa_to_psi(mixing_dp_kpa) AS mixing_dp_kpa,
    kpa_to_psi(mixing_dp_ref_kpa) AS mixing_dp_ref_kpa,
    per_t_to_per_short_ton(energy_kwh_t) AS energy_kwh_t,
    m3_to_gal(wash_water_m3) AS wash_water_m3,
    per_t_to_per_short_ton(cost_polymer_per_t) AS cost_polymer_per_t,
    per_t_to_per_short_ton(cost_disposal_per_t) AS cost_disposal_per_t,
    per_t_to_per_short_ton(cost_power_per_t) AS cost_power_per_t,
    per_t_to_per_short_ton(cost_water_per_t) AS cost_water_per_t,
    per_t_to_per_short_ton(cost_recycle_per_t) AS cost_recycle_per_t,
    per_t_to_per_short_ton(cost_total_per_t) AS cost_total_per_t
  )
  FROM (
    SELECT
      COLUMNS(lambda c: c IN ('plant', 'line', 'operating_day', 'shift', 'window_name', 'operating_days', 'week_start_day', 'iso_week')),
      period_start_utc, timezone(time_zone, period_start_utc) AS period_start_local,
      period_end_utc, timezone(time_zone, period_end_utc) AS period_end_local,
      COLUMNS(lambda c: c NOT IN ('plant', 'line', 'operating_day', 'shift', 'window_name', 'operating_days', 'week_start_day', 'iso_week',
        'period_start_utc', 'period_end_utc', 'time_zone'))
    FROM query_table(kpi_table)
    JOIN (SELECT plant, line, time_zone FROM line_settings) USING (plant, line)
  )
);
