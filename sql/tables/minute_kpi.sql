-- question: What does each minute of the days at hand add to the totals?
-- unit: in the names; amounts are per minute
-- grain: line, minute (work table, in that order so that every sum adds in the same order)
-- formula: dry solids = Q/60 x SG x TS/100; active polymer = neat q/60 x density x active fraction, or solution q/60 x 1000 x strength/100;
--          mixing dP = P1 - P2 - rho g dz; pump dP = Pd - Ps + rho g dz; dilution water as the plant file counts it; flow of solution as
--          metered, else neat polymer + make-down water as metered, else active polymer / strength; a polymer meter that other lines read too counts with sql/tables/meter_share.sql
-- source: textbook formulas, from memory; validity after common practice, no source
-- known limits: SG of the sludge is the plant file's constant; negative flows count as zero in totals; a minute in which a
--          metered drive is not covered has no energy; totalisers are compared only where both they and their flow cover the whole minute, and
--          never with a flow that the register itself tells
CREATE OR REPLACE TABLE work.minute_kpi AS
WITH dated AS (
  SELECT m.*, s.* EXCLUDE (plant, line),
    is_pump_on(m.pump_run_coverage, m.pump_run_share, m.state) AS is_on,
    m.state = 'processing' AS is_processing, is_lost(m.state, m.is_pump_running) AS is_lost,
    coalesce(e.is_start, false) AS is_start,
    coalesce(e.is_stop, false) AS is_stop,
    coalesce(e.is_short_run, false) AS is_short_run,
    p.density_kg_m3, p.active_fraction, p.price_per_kg_neat,
    coalesce(covered(m.polymer_solution_strength_pct, m.polymer_solution_strength_coverage), p.solution_strength_pct) AS strength_pct,
    r.power_per_kwh, r.water_per_m3,
    t.ts_pct, t.is_held, t.ts_age_h,
    h.meter_share,
    CASE WHEN m.line IN (SELECT line FROM planned_times) THEN n.minute_utc IS NOT NULL END AS is_planned,
    g.arrangement, g.arrangement IS NOT NULL AND m.minute_utc < g.transition_to_utc AS is_in_transition
  FROM minutes m
  JOIN line_settings s ON s.line = m.line
  LEFT JOIN polymers p ON p.line = m.line AND m.minute_utc >= p.from_utc AND m.minute_utc < p.to_utc
  LEFT JOIN arrangements g ON g.line = m.line AND m.minute_utc >= g.from_utc AND m.minute_utc < g.to_utc
  LEFT JOIN prices r ON m.minute_utc >= r.from_utc AND m.minute_utc < r.to_utc
  LEFT JOIN work.pump_edges e ON e.line = m.line AND e.minute_utc = m.minute_utc
  LEFT JOIN work.minute_feed_ts t ON t.line = m.line AND t.minute_utc = m.minute_utc
  LEFT JOIN work.meter_share h ON h.line = m.line AND h.minute_utc = m.minute_utc
  LEFT JOIN work.planned_minutes n ON n.line = m.line AND n.minute_utc = m.minute_utc
  WHERE m.operating_day IN (SELECT operating_day FROM work.needed_days)
), metered AS (
  SELECT *,
    covered(greatest(sludge_flow_m3_h, 0.0), sludge_flow_coverage) AS q_m3_h,
    covered(greatest(polymer_neat_flow_m3_h, 0.0), polymer_neat_flow_coverage) AS neat_meter_m3_h,
    covered(greatest(polymer_solution_flow_m3_h, 0.0), polymer_solution_flow_coverage) AS solution_meter_m3_h,
    covered(greatest(makedown_water_flow_m3_h, 0.0), makedown_water_flow_coverage) AS makedown_meter_m3_h,
    covered(greatest(dilution_water_flow_m3_h, 0.0), dilution_water_flow_coverage) AS dilution_meter_m3_h,
    covered(greatest(wash_water_flow_m3_h, 0.0), wash_water_flow_coverage) AS wash_m3_h,
    covered(pump_power_kw, pump_power_coverage) AS pump_kw,
    covered(device_power_kw, device_power_coverage) AS device_kw,
    covered(pump_suction_pressure_kpa, pump_suction_pressure_coverage) AS suction_kpa,
    covered(pump_discharge_pressure_kpa, pump_discharge_pressure_coverage) AS discharge_kpa,
    coalesce(shared_roles, '') AS shared,
    coalesce(register_flows, '') AS by_register
  FROM dated
), flows AS (
  SELECT *,
    CASE
      WHEN contains(shared, 'polymer_neat_flow') THEN neat_meter_m3_h * meter_share
      ELSE neat_meter_m3_h END AS neat_m3_h,
    CASE
      WHEN contains(shared, 'polymer_solution_flow') THEN solution_meter_m3_h * meter_share
      ELSE solution_meter_m3_h END AS solution_m3_h,
    CASE
      WHEN contains(shared, 'makedown_water_flow') THEN makedown_meter_m3_h * meter_share
      ELSE makedown_meter_m3_h END AS makedown_m3_h,
    CASE
      WHEN contains(shared, 'dilution_water_flow') THEN dilution_meter_m3_h * meter_share
      ELSE dilution_meter_m3_h END AS dilution_water_m3_h
  FROM metered
), polymer AS (
  SELECT *,
    CASE polymer_meter WHEN 'neat' THEN neat_meter_m3_h ELSE solution_meter_m3_h END AS dose_meter_m3_h,
    CASE polymer_meter
      WHEN 'neat' THEN active_from_neat_kg_h(neat_m3_h, density_kg_m3, active_fraction)
      ELSE active_from_solution_kg_h(solution_m3_h, strength_pct) END AS active_kg_h,
    is_processing
      AND q_m3_h IS NOT NULL
      AND CASE polymer_meter WHEN 'neat' THEN neat_m3_h ELSE solution_m3_h END IS NOT NULL AS is_valid,
    is_processing AND q_m3_h IS NOT NULL AND dose_meter_m3_h IS NOT NULL AND NOT is_valid AS is_unsplit,
    is_valid AND ts_pct IS NOT NULL AND active_kg_h IS NOT NULL AS is_dosed,
    coalesce(solution_m3_h, neat_m3_h + makedown_m3_h, active_kg_h / 1000.0 / nullif(strength_pct, 0) * 100.0) AS made_m3_h,
    made_m3_h + coalesce(dilution_water_m3_h, 0.0) AS polymer_water_m3_h,
    pump_power_coverage IS NOT NULL OR device_power_coverage IS NOT NULL AS has_drives,
    CASE WHEN has_drives
      THEN CASE WHEN pump_power_coverage IS NULL THEN 0.0 ELSE pump_kw END
        + CASE WHEN device_power_coverage IS NULL THEN 0.0 ELSE device_kw END END AS drives_kw,
    is_processing AND discharge_kpa IS NOT NULL AND suction_kpa IS NOT NULL AS has_pump_dp,
    CASE
      WHEN has_pump_dp THEN discharge_kpa - suction_kpa + hydrostatic_kpa(pump_elevation_m, sludge_sg) END AS rise_kpa,
    CASE WHEN has_pump_dp AND q_m3_h IS NOT NULL
      THEN total_head_m(discharge_kpa - suction_kpa, sludge_sg, pump_elevation_m, q_m3_h, suction_pipe_m, discharge_pipe_m) END AS head_m,
    has_pump_dp AND q_m3_h IS NOT NULL AND pump_kw IS NOT NULL AS has_efficiency,
    is_processing
      AND is_covered(mixing_upstream_pressure_coverage)
      AND is_covered(mixing_downstream_pressure_coverage)
      AND q_m3_h > 0 AS has_mixing_dp,
    CASE WHEN has_mixing_dp THEN mixing_upstream_pressure_kpa - mixing_downstream_pressure_kpa
      - hydrostatic_kpa(mixing_elevation_m, sludge_sg) END AS drop_kpa,
    NOT contains(by_register, 'sludge_flow')
      AND sludge_total_coverage >= 1.0
      AND sludge_flow_coverage >= 1.0 AS has_sludge_pair,
    NOT contains(by_register, 'polymer_') AND polymer_total_coverage >= 1.0
      AND CASE polymer_meter
        WHEN 'neat' THEN polymer_neat_flow_coverage
        ELSE polymer_solution_flow_coverage END >= 1.0 AS has_polymer_pair
  FROM flows
)
SELECT
  plant, line, minute_utc, operating_day, shift, date_trunc('hour', minute_utc) AS hour_utc, state,
  arrangement, is_in_transition,
  is_processing, is_start, is_stop, is_short_run,
  is_valid, is_unsplit, is_dosed, is_lost,
  CASE WHEN is_planned IS NOT NULL THEN is_planned AND state <> 'unknown' END AS is_planned,
  is_planned AND state IN ('stopped', 'shutdown') AS is_down,
  CASE WHEN q_m3_h IS NOT NULL OR suction_kpa - suction_minimum_kpa IS NOT NULL
    THEN is_on AND (coalesce(q_m3_h < feed_cutoff_m3_h, false) OR coalesce(suction_kpa < suction_minimum_kpa, false)) END AS is_dry_run,
  CASE WHEN q_m3_h IS NOT NULL AND discharge_kpa - discharge_maximum_kpa IS NOT NULL
    THEN discharge_kpa > discharge_maximum_kpa AND q_m3_h < feed_cutoff_m3_h END AS is_deadhead,
  CASE WHEN pump_run_coverage IS NULL
    THEN CASE WHEN state <> 'unknown' THEN is_on::INTEGER END
    ELSE pump_run_share * pump_run_coverage END / 60.0 AS run_h,
  CASE
    WHEN pump_run_coverage IS NULL THEN (state = 'unknown')::INTEGER
    ELSE 1.0 - pump_run_coverage END / 60.0 AS run_unknown_h,
  is_running(state) IS TRUE OR is_lost AS is_fed,
  CASE WHEN is_fed THEN q_m3_h / 60.0 END AS feed_volume_all_m3,
  CASE WHEN is_fed AND ts_pct IS NULL THEN q_m3_h ELSE 0.0 * q_m3_h END / 60.0 AS feed_untested_m3,
  CASE WHEN is_fed THEN solids_rate_t_h(q_m3_h, ts_pct, sludge_sg) / 60.0 END AS dry_solids_all_t,
  CASE WHEN state = 'unknown' AND NOT is_lost THEN q_m3_h ELSE 0.0 * q_m3_h END / 60.0 AS feed_doubtful_m3,
  CASE WHEN is_valid THEN q_m3_h / 60.0 END AS feed_volume_m3,
  CASE WHEN has_sludge_pair THEN sludge_total_m3 END AS sludge_total_m3,
  CASE WHEN has_sludge_pair THEN q_m3_h / 60.0 END AS sludge_total_flow_m3,
  CASE WHEN is_dosed THEN q_m3_h / 60.0 END AS dosed_feed_m3,
  CASE WHEN is_dosed THEN solids_rate_t_h(q_m3_h, ts_pct, sludge_sg) / 60.0 END AS dry_solids_t,
  CASE WHEN is_dosed AND is_held THEN solids_rate_t_h(q_m3_h, ts_pct, sludge_sg) / 60.0 END AS held_solids_t,
  CASE WHEN is_dosed THEN q_m3_h * sludge_sg / 60.0 END AS dosed_mass_t,
  CASE WHEN is_dosed THEN ts_age_h END AS ts_age_h,
  CASE WHEN is_dosed THEN active_kg_h / 60.0 END AS polymer_active_kg,
  CASE WHEN is_dosed THEN active_kg_h / 60.0 / active_fraction END AS polymer_neat_kg,
  active_kg_h / 60.0 / active_fraction AS polymer_neat_all_kg,
  CASE WHEN is_dosed THEN price_per_kg_neat END AS polymer_price,
  price_per_kg_neat * (active_kg_h / 60.0 / active_fraction) AS cost_polymer_all,
  CASE WHEN is_dosed THEN made_m3_h / 60.0 END AS polymer_solution_m3,
  CASE WHEN is_dosed AND made_m3_h IS NOT NULL THEN q_m3_h / 60.0 END AS polymer_solution_feed_m3,
  made_m3_h / 60.0 AS polymer_solution_all_m3,
  CASE WHEN has_polymer_pair THEN polymer_total_m3 END AS polymer_total_m3,
  CASE WHEN has_polymer_pair THEN dose_meter_m3_h / 60.0 END AS polymer_total_flow_m3,
  CASE WHEN is_dosed THEN polymer_water_m3_h / 60.0 END AS polymer_water_m3,
  polymer_water_m3_h / 60.0 AS polymer_water_all_m3,
  CASE WHEN is_dosed THEN wash_m3_h / 60.0 END AS wash_water_m3,
  wash_m3_h / 60.0 AS wash_water_all_m3,
  CASE WHEN is_dosed
    THEN CASE dilution_counted
      WHEN 'none' THEN 0.0
      WHEN 'polymer' THEN polymer_water_m3_h
      ELSE polymer_water_m3_h + wash_m3_h END / 60.0
    END AS dilution_m3,
  CASE WHEN is_dosed THEN water_per_m3 END AS water_price,
  CASE WHEN polymer_water_m3_h IS NOT NULL OR wash_m3_h IS NOT NULL
    THEN water_per_m3 * (coalesce(polymer_water_m3_h, 0.0) + coalesce(wash_m3_h, 0.0)) / 60.0 END AS cost_water_all,
  CASE WHEN is_dosed THEN drives_kw / 60.0 END AS energy_kwh,
  CASE WHEN is_dosed AND has_drives
    THEN CASE WHEN drives_kw IS NULL THEN 0.0 ELSE solids_rate_t_h(q_m3_h, ts_pct, sludge_sg) / 60.0 END END AS energy_solids_t,
  drives_kw / 60.0 AS energy_all_kwh,
  CASE WHEN is_dosed THEN power_per_kwh END AS power_price,
  power_per_kwh * (drives_kw / 60.0) AS cost_power_all,
  rise_kpa AS pump_dp_kpa,
  head_m AS pump_head_m,
  CASE WHEN has_efficiency THEN pump_kw / 60.0 END AS pump_electric_kwh,
  CASE WHEN has_efficiency THEN pump_power_hydraulic_kw(q_m3_h, rise_kpa) / 60.0 END AS pump_hydraulic_kwh,
  CASE
    WHEN has_efficiency THEN pump_power_hydraulic_kw(q_m3_h, hydrostatic_kpa(head_m, sludge_sg)) / 60.0 END AS pump_head_kwh,
  CASE WHEN is_processing THEN suction_kpa END AS suction_kpa,
  suction_minimum_kpa,
  CASE
    WHEN is_on AND is_covered(seal_water_flow_coverage) THEN greatest(seal_water_flow_m3_h, 0.0) / 60.0 END AS seal_water_m3,
  drop_kpa AS mixing_dp_kpa,
  CASE WHEN has_mixing_dp THEN q_m3_h / 60.0 END AS mixing_feed_m3,
  q_m3_h,
  reference_flow_m3_h
FROM polymer
ORDER BY line, minute_utc;
