-- question: Is a column of the KPI tables an amount (double) that adds up over days?
-- unit: true or false
-- formula: the columns declared so
-- source: this project
-- known limits: says nothing of columns of other tables
-- written by `python -m schemas` from the declarations in schemas/kpis
-- example: is_kpi_total('run_h') = true
CREATE OR REPLACE MACRO is_kpi_total(column_name) AS
  column_name IN (
    'run_h',
    'run_unknown_h',
    'running_h',
    'processing_h',
    'idle_h',
    'planned_h',
    'down_h',
    'feed_volume_m3',
    'feed_volume_all_m3',
    'feed_untested_m3',
    'feed_doubtful_m3',
    'sludge_total_m3',
    'sludge_total_flow_m3',
    'dosed_feed_m3',
    'dry_solids_t',
    'dry_solids_all_t',
    'dry_solids_held_t',
    'dry_solids_sampled_t',
    'polymer_active_kg',
    'polymer_neat_kg',
    'polymer_neat_all_kg',
    'polymer_solution_m3',
    'polymer_solution_feed_m3',
    'polymer_solution_all_m3',
    'polymer_total_m3',
    'polymer_total_flow_m3',
    'mixing_feed_m3',
    'pump_electric_kwh',
    'pump_hydraulic_kwh',
    'pump_head_kwh',
    'seal_water_m3',
    'energy_kwh',
    'energy_solids_t',
    'wash_water_m3',
    'polymer_water_m3',
    'energy_all_kwh',
    'wash_water_all_m3',
    'polymer_water_all_m3',
    'cost_polymer_all',
    'cost_power_all',
    'cost_water_all'
  );
