-- question: What does each minute of the days at hand add to the totals?
-- unit: in the names; amounts are per minute
-- grain: line, minute (work table, in that order so that every sum adds in the same order)
-- formula: dry solids = Q/60 x SG x TS/100; active polymer = neat q/60 x density x active fraction, or solution q/60 x 1000 x strength/100;
--          mixing dP = P1 - P2 - rho g dz; pump dP = Pd - Ps + rho g dz; dilution water as the plant file counts it
-- source: textbook formulas, from memory; validity after common practice, no source
-- known limits: SG of the sludge is the plant file's constant; negative flows count as zero in totals; a drive whose power is not covered
--          adds nothing to the energy of that minute; a start counts when the minute before is known to be off
CREATE OR REPLACE TABLE work.minute_kpi AS
WITH base AS (
  SELECT
    m.*,
    s.* EXCLUDE (plant, line),
    is_pump_on(m.pump_run_coverage, m.pump_run_share, m.state) AS is_on,
    m.state = 'processing' AS is_processing
  FROM minutes m JOIN line_settings s USING (line)
  WHERE m.operating_day IN (SELECT operating_day FROM work.needed_days UNION SELECT operating_day - 1 FROM work.needed_days)
), edged AS (
  SELECT *, is_on AND NOT lag(is_on) OVER (PARTITION BY line ORDER BY minute_utc) AS is_start
  FROM base
), dated AS (
  SELECT e.*, p.density_kg_m3, p.active_fraction, p.price_per_kg_neat,
    coalesce(CASE WHEN e.polymer_solution_strength_coverage >= 0.5 THEN e.polymer_solution_strength_pct END, p.solution_strength_pct) AS strength_pct,
    r.power_per_kwh, r.water_per_m3,
    t.ts_pct, t.is_held, t.ts_age_h
  FROM edged e
  LEFT JOIN polymers p ON p.line = e.line AND e.minute_utc >= p.from_utc AND e.minute_utc < p.to_utc
  LEFT JOIN prices r ON e.minute_utc >= r.from_utc AND e.minute_utc < r.to_utc
  LEFT JOIN work.minute_feed_ts t ON t.line = e.line AND t.minute_utc = e.minute_utc
  WHERE e.operating_day IN (SELECT operating_day FROM work.needed_days)
), flows AS (
  SELECT *,
    CASE WHEN sludge_flow_coverage >= 0.5 THEN greatest(sludge_flow_m3_h, 0.0) END AS q_m3_h,
    CASE WHEN polymer_neat_flow_coverage >= 0.5 THEN greatest(polymer_neat_flow_m3_h, 0.0) END AS neat_m3_h,
    CASE WHEN polymer_solution_flow_coverage >= 0.5 THEN greatest(polymer_solution_flow_m3_h, 0.0) END AS solution_m3_h,
    CASE WHEN dilution_water_flow_coverage >= 0.5 THEN greatest(dilution_water_flow_m3_h, 0.0) END AS dilution_water_m3_h,
    CASE WHEN wash_water_flow_coverage >= 0.5 THEN greatest(wash_water_flow_m3_h, 0.0) END AS wash_m3_h
  FROM dated
), polymer AS (
  SELECT *,
    CASE polymer_meter
      WHEN 'neat' THEN active_from_neat_kg_h(neat_m3_h, density_kg_m3, active_fraction)
      ELSE active_from_solution_kg_h(solution_m3_h, strength_pct) END AS active_kg_h,
    is_processing AND q_m3_h IS NOT NULL AND CASE polymer_meter WHEN 'neat' THEN neat_m3_h ELSE solution_m3_h END IS NOT NULL AS is_valid,
    is_valid AND ts_pct IS NOT NULL AND active_kg_h IS NOT NULL AS is_dosed,
    coalesce(solution_m3_h, active_kg_h / 1000.0 / nullif(strength_pct, 0) * 100.0) + coalesce(dilution_water_m3_h, 0.0) AS polymer_water_m3_h,
    is_processing AND pump_discharge_pressure_coverage >= 0.5 AND pump_suction_pressure_coverage >= 0.5 AS has_pump_dp,
    is_processing AND mixing_upstream_pressure_coverage >= 0.5 AND mixing_downstream_pressure_coverage >= 0.5 AND q_m3_h > 0 AS has_mixing_dp
  FROM flows
)
SELECT
  plant, line, minute_utc, operating_day, shift, date_trunc('hour', minute_utc) AS hour_utc, state,
  is_processing, is_start, is_valid, is_dosed,
  CASE WHEN pump_run_coverage IS NULL THEN coalesce(is_on, false)::INTEGER ELSE coalesce(pump_run_share * pump_run_coverage, 0.0) END / 60.0 AS run_h,
  CASE WHEN is_running(state) THEN q_m3_h / 60.0 END AS fed_all_m3,
  CASE WHEN is_valid THEN q_m3_h / 60.0 END AS fed_m3,
  CASE WHEN is_dosed THEN solids_rate_t_h(q_m3_h, ts_pct, sludge_sg) / 60.0 END AS dry_solids_t,
  CASE WHEN is_dosed AND is_held THEN solids_rate_t_h(q_m3_h, ts_pct, sludge_sg) / 60.0 END AS dry_solids_held_t,
  CASE WHEN is_dosed THEN q_m3_h * sludge_sg / 60.0 END AS dosed_mass_t,
  CASE WHEN is_dosed THEN ts_age_h END AS ts_age_h,
  CASE WHEN is_dosed THEN active_kg_h / 60.0 END AS active_kg,
  CASE WHEN is_dosed THEN active_kg_h / 60.0 / active_fraction END AS neat_kg,
  CASE WHEN is_dosed THEN price_per_kg_neat END AS polymer_price,
  CASE WHEN is_dosed THEN polymer_water_m3_h / 60.0 END AS polymer_water_m3,
  CASE WHEN is_dosed THEN wash_m3_h / 60.0 END AS wash_m3,
  CASE WHEN is_dosed THEN CASE dilution_counted WHEN 'none' THEN 0.0 WHEN 'polymer' THEN polymer_water_m3_h ELSE polymer_water_m3_h + wash_m3_h END / 60.0 END AS dilution_m3,
  CASE WHEN is_dosed THEN water_per_m3 END AS water_price,
  CASE WHEN is_dosed AND (pump_power_coverage >= 0.5 OR device_power_coverage >= 0.5)
    THEN (coalesce(CASE WHEN pump_power_coverage >= 0.5 THEN pump_power_kw END, 0.0) + coalesce(CASE WHEN device_power_coverage >= 0.5 THEN device_power_kw END, 0.0)) / 60.0 END AS energy_kwh,
  CASE WHEN is_dosed THEN power_per_kwh END AS power_price,
  CASE WHEN has_pump_dp THEN pump_discharge_pressure_kpa - pump_suction_pressure_kpa + hydrostatic_kpa(pump_elevation_m, sludge_sg) END AS pump_dp_kpa,
  CASE WHEN has_pump_dp AND q_m3_h IS NOT NULL
    THEN total_head_m(pump_discharge_pressure_kpa - pump_suction_pressure_kpa, sludge_sg, pump_elevation_m, q_m3_h, suction_pipe_m, discharge_pipe_m) END AS pump_head_m,
  CASE WHEN has_mixing_dp THEN mixing_upstream_pressure_kpa - mixing_downstream_pressure_kpa - hydrostatic_kpa(mixing_elevation_m, sludge_sg) END AS mixing_dp_kpa,
  q_m3_h,
  reference_flow_m3_h
FROM polymer
ORDER BY line, minute_utc;
