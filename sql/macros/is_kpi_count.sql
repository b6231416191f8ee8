-- question: Is a column of the KPI tables a number of minutes, samples or events (integer) that adds up over days?
-- unit: true or false
-- formula: the columns declared so
-- source: this project
-- known limits: says nothing of columns of other tables
-- written by `python -m schemas` from the declarations in schemas/kpis
-- example: is_kpi_count('minutes_seen') = true
CREATE OR REPLACE MACRO is_kpi_count(column_name) AS
  column_name IN (
    'minutes_seen',
    'unknown_minutes',
    'processing_minutes',
    'lost_minutes',
    'valid_minutes',
    'dosed_minutes',
    'unsplit_minutes',
    'unjudged_days',
    'starts',
    'stops',
    'short_runs',
    'dry_run_minutes',
    'deadhead_minutes',
    'vs_samples',
    'polymer_solution_all_minutes',
    'cake_samples',
    'filtrate_samples',
    'feed_samples',
    'cst_samples',
    'pump_dp_minutes',
    'mixing_dp_minutes',
    'suction_minutes',
    'seal_water_minutes'
  );
