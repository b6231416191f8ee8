-- question: What do the minutes say in US units and plant time?
-- unit: in the names; gallons are US gallons
-- grain: as minutes
-- formula: exact unit conversions of minutes_local; no stored number changes
-- source: definitions of the units
-- known limits: the repeated hour in autumn shows the same local time twice; minute_utc tells them apart; a role without a US form here
--               keeps its SI column
CREATE OR REPLACE VIEW minutes_us AS
SELECT * RENAME (
    sludge_flow_m3_h AS sludge_flow_gpm,
    polymer_neat_flow_m3_h AS polymer_neat_flow_gph,
    polymer_solution_flow_m3_h AS polymer_solution_flow_gpm,
    makedown_water_flow_m3_h AS makedown_water_flow_gpm,
    dilution_water_flow_m3_h AS dilution_water_flow_gpm,
    wash_water_flow_m3_h AS wash_water_flow_gpm,
    seal_water_flow_m3_h AS seal_water_flow_gpm,
    pump_suction_pressure_kpa AS pump_suction_pressure_psi,
    pump_discharge_pressure_kpa AS pump_discharge_pressure_psi,
    mixing_upstream_pressure_kpa AS mixing_upstream_pressure_psi,
    mixing_downstream_pressure_kpa AS mixing_downstream_pressure_psi,
    sludge_total_m3 AS sludge_total_gal,
    polymer_total_m3 AS polymer_total_gal
  )
FROM (
  SELECT * REPLACE (
      m3_h_to_gpm(sludge_flow_m3_h) AS sludge_flow_m3_h,
      m3_h_to_gph(polymer_neat_flow_m3_h) AS polymer_neat_flow_m3_h,
      m3_h_to_gpm(polymer_solution_flow_m3_h) AS polymer_solution_flow_m3_h,
      m3_h_to_gpm(makedown_water_flow_m3_h) AS makedown_water_flow_m3_h,
      m3_h_to_gpm(dilution_water_flow_m3_h) AS dilution_water_flow_m3_h,
      m3_h_to_gpm(wash_water_flow_m3_h) AS wash_water_flow_m3_h,
      m3_h_to_gpm(seal_water_flow_m3_h) AS seal_water_flow_m3_h,
      kpa_to_psi(pump_suction_pressure_kpa) AS pump_suction_pressure_kpa,
      kpa_to_psi(pump_discharge_pressure_kpa) AS pump_discharge_pressure_kpa,
      kpa_to_psi(mixing_upstream_pressure_kpa) AS mixing_upstream_pressure_kpa,
      kpa_to_psi(mixing_downstream_pressure_kpa) AS mixing_downstream_pressure_kpa,
      m3_to_gal(sludge_total_m3) AS sludge_total_m3,
      m3_to_gal(polymer_total_m3) AS polymer_total_m3
  )
  FROM minutes_local
);
