-- question: How uncertain are the KPIs of each operating day at hand?
-- unit: as the KPI (standard uncertainty, k = 1)
-- grain: line, operating day (work table)
-- formula: GUM (JCGM 100) law of propagation, first order: u2 = sum of (partial derivative x u)2 over independent inputs; a part shared by
--          numerator and denominator is carried once. dose = A/S: u2/dose2 = TS2 + meter noise2 + batch2 (random) + gains2 + (offset x
--          sensitivity)2 + fraction2 + bias of the feed TS2 (systematic). Capture by the partial derivatives of capture_pct; cost by those of its terms
-- source: JCGM 100:2008 5.1.2; inputs from uncertainty_inputs; feed TS from work.day_feed_variance
-- known limits: first order only; specific gravity, gauge heights and prices count as exact; power meters of a line as one; noise of
--          pressures as averaged out; the water of wash and polymer counts in the dilution only; a cake grab counts as good for its day. A
--         day without a KPI has none of its u
CREATE OR REPLACE TABLE work.day_uncertainty AS
WITH said AS (
  SELECT p.line, p.operating_day,
    max(systematic_pct) FILTER (quantity = 'sludge_flow') / 100.0 AS q_gain,
    max(systematic_abs) FILTER (quantity = 'sludge_flow') AS q_offset_m3_h,
    max(random_pct) FILTER (quantity = 'sludge_flow') / 100.0 AS q_noise,
    max(systematic_pct) FILTER (quantity = meter) / 100.0 AS p_gain,
    max(systematic_abs) FILTER (quantity = meter) AS p_offset_m3_h,
    max(random_pct) FILTER (quantity = meter) / 100.0 AS p_noise,
    max(systematic_pct) FILTER (quantity = content) / 100.0 AS content,
    max(random_pct) FILTER (quantity = 'strength batch') / 100.0 AS batch,
    max(tau_h) FILTER (quantity = 'strength batch') AS batch_tau_h,
    pow(max(random_abs) FILTER (quantity = 'cake ts sampling'), 2) AS cake_sampling,
    pow(max(random_abs) FILTER (quantity = 'cake ts analysis'), 2) AS cake_analysis,
    pow(max(random_pct) FILTER (quantity = 'filtrate tss sampling') / 100.0, 2) AS filtrate_sampling,
    pow(max(random_pct) FILTER (quantity = 'filtrate tss analysis') / 100.0, 2) AS filtrate_analysis,
    pow(max(random_pct) FILTER (quantity = 'filtrate tss grab') / 100.0, 2) AS filtrate_grab,
    coalesce(max(systematic_pct) FILTER (quantity = 'feed ts bias'), 0.0) / 100.0 AS ts_bias,
    coalesce(max(systematic_pct) FILTER (quantity = 'wash_water_flow'), 0.0) / 100.0 AS wash_gain,
    sqrt(sum(pow(systematic_abs, 2) ORDER BY quantity) FILTER (quantity IN ('mixing_upstream_pressure', 'mixing_downstream_pressure'))) AS gauges_kpa,
    coalesce(max(systematic_pct) FILTER (quantity IN ('mixing_upstream_pressure', 'mixing_downstream_pressure')), 0.0) / 100.0 AS gauge_gain,
    coalesce(max(systematic_pct) FILTER (quantity IN ('pump_power', 'device_power')), 0.0) / 100.0 AS power_gain
  FROM (SELECT k.line, k.operating_day, k.period_start_utc, format('polymer_{}_flow', s.polymer_meter) AS meter,
          CASE s.polymer_meter WHEN 'neat' THEN 'active fraction' ELSE 'solution strength' END AS content
        FROM work.period_kpi k JOIN line_settings s ON s.line = k.line WHERE k.kind = 'day') p
  JOIN uncertainty_inputs i ON i.line = p.line AND p.period_start_utc >= i.from_utc AND p.period_start_utc < i.to_utc
  GROUP BY p.line, p.operating_day
), summed AS (
  SELECT
    line,
    operating_day,
    count(*) AS minutes,
    sum(dry_solids_t / q_m3_h) AS solids_per_flow,
    sum(dry_solids_t * dry_solids_t) AS solids_2,
    sum(polymer_active_kg * polymer_active_kg) AS active_2,
    sum(polymer_water_m3) AS polymer_water_m3,
    sum(wash_water_m3) AS wash_m3,
    sum(dosed_mass_t) AS dosed_mass_t
  FROM work.minute_kpi WHERE is_dosed AND q_m3_h > 0 AND operating_day IN (SELECT operating_day FROM work.touched_days)
  GROUP BY line, operating_day
), lab AS (
  SELECT line, operating_day, point, count(*) AS n, sum(1.0 / replicates ORDER BY from_utc, sample_id) AS sum_1_r,
    sum(value * value ORDER BY from_utc, sample_id) AS sum_2,
    coalesce(sum(value * value ORDER BY from_utc, sample_id) FILTER (time_basis = 'stated'), 0.0) AS sum_2_grab,
    sum(value * value / replicates ORDER BY from_utc, sample_id) AS sum_2_r
  FROM lab_results
  WHERE is_used AND value IS NOT NULL AND (point = 'cake' AND analyte = 'ts' OR point = 'filtrate' AND analyte = 'tss')
    AND operating_day IN (SELECT operating_day FROM work.touched_days)
    AND (line, sample_id) NOT IN (SELECT (line, sample_id) FROM work.samples_outside)
  GROUP BY line, operating_day, point
), parts AS (
  SELECT k.*, sqrt(f.scatter_var) AS scatter, f.fresh_var, f.held_var, coalesce(f.fresh_var, f.held_var) AS ts_var,
    pow(s.ts_bias, 2) AS ts_systematic, ts_var + ts_systematic AS ts_all_var,
    pow(s.q_noise, 2) * m.solids_2 / nullif(pow(k.dry_solids_t, 2), 0) AS q_random,
    pow(s.q_gain, 2) + pow(s.q_offset_m3_h * m.solids_per_flow / nullif(k.dry_solids_t, 0), 2) AS q_systematic,
    pow(s.p_noise, 2) * m.active_2 / nullif(pow(k.polymer_active_kg, 2), 0)
      + CASE l.polymer_meter
        WHEN 'neat' THEN 0.0
        ELSE pow(s.batch, 2) * wander_of_mean(f.hours, s.batch_tau_h) END AS p_random,
    pow(s.p_gain, 2) + pow(s.content, 2) + CASE WHEN s.p_offset_m3_h = 0 THEN 0.0 ELSE pow(s.p_offset_m3_h * m.minutes
      / nullif(CASE l.polymer_meter WHEN 'neat' THEN k.polymer_neat_kg * 60.0 / p.density_kg_m3 ELSE k.polymer_active_kg * 6.0
        / p.solution_strength_pct END, 0),
      2) END AS p_systematic,
    sqrt(s.cake_sampling * c.n + s.cake_analysis * c.sum_1_r) / c.n AS u_cake,
    sqrt(s.filtrate_sampling * x.sum_2 + s.filtrate_grab * x.sum_2_grab + s.filtrate_analysis * x.sum_2_r) / x.n AS u_filtrate,
    sqrt(pow(s.gauges_kpa, 2) + pow(s.gauge_gain * k.mixing_dp_kpa, 2)) AS u_mixing, s.power_gain,
    CASE l.dilution_counted WHEN 'none' THEN 0.0 ELSE pow(s.p_gain * m.polymer_water_m3 / m.dosed_mass_t, 2)
      + CASE l.dilution_counted WHEN 'polymer' THEN 0.0 ELSE pow(s.wash_gain * coalesce(m.wash_m3, 0.0) / m.dosed_mass_t, 2) END END AS water_var,
      CASE l.dilution_counted WHEN 'none' THEN 0.0 ELSE k.dilution_ratio END AS counted_ratio
  FROM work.period_kpi k
  JOIN line_settings l ON l.line = k.line
  LEFT JOIN said s ON s.line = k.line AND s.operating_day = k.operating_day
  LEFT JOIN summed m ON m.line = k.line AND m.operating_day = k.operating_day
  LEFT JOIN work.day_feed_variance f ON f.line = k.line AND f.operating_day = k.operating_day
  LEFT JOIN lab c ON c.line = k.line AND c.operating_day = k.operating_day AND c.point = 'cake'
  LEFT JOIN lab x ON x.line = k.line AND x.operating_day = k.operating_day AND x.point = 'filtrate'
  LEFT JOIN polymers p ON p.line = k.line AND k.period_start_utc >= p.from_utc AND k.period_start_utc < p.to_utc
  WHERE k.kind = 'day'
), forms AS (
  SELECT
    *,
    filtrate_tss_mg_l / 1e4 AS x,
    1.0 + dilution_ratio AS w1,
    pow(counted_ratio, 2) * q_systematic + water_var AS w_var,
    cost_polymer_per_t + coalesce(cost_power_per_t, 0.0) + coalesce(cost_water_per_t, 0.0) AS cost_over_solids,
    cost_disposal_per_t / nullif(capture_pct, 0) - coalesce(cost_recycle_per_t, 0.0) / nullif(100.0 - capture_pct, 0) AS cost_by_capture
  FROM parts
), shares AS (
  SELECT *, 1.0 - x / feed_ts_pct * w1 AS num, 1.0 - x / cake_ts_pct AS den FROM forms
), slopes AS ( -- of capture, each times its u
  SELECT *,
    100.0 * (num / (den * den * cake_ts_pct) - w1 / feed_ts_pct / den) * u_filtrate / 1e4 AS by_filtrate,
    100.0 * x * w1 / feed_ts_pct / den * sqrt(ts_all_var) AS by_ts,
    -100.0 * num * x / pow(cake_ts_pct * den, 2) * u_cake AS by_cake,
    -100.0 * x / feed_ts_pct / den * sqrt(w_var) AS by_dilution
  FROM shares
)
SELECT line, operating_day,
  feed_ts_pct * sqrt(ts_all_var) AS feed_ts_pct_u,
  dry_solids_t * sqrt(ts_all_var + q_random + q_systematic) AS dry_solids_t_u,
  dry_solids_all_t * sqrt(ts_all_var + q_random + q_systematic) AS dry_solids_all_t_u,
  polymer_active_kg * sqrt(p_random + p_systematic) AS polymer_active_kg_u,
  dose_active_kg_t * sqrt(ts_all_var + q_random + p_random + q_systematic + p_systematic) AS dose_active_kg_t_u,
  dose_active_kg_t * sqrt(ts_var + q_random + p_random) AS dose_active_kg_t_u_random,
  dose_active_kg_t * sqrt(ts_systematic + q_systematic + p_systematic) AS dose_active_kg_t_u_systematic,
  dose_active_kg_t * sqrt(coalesce(held_var, 0.0)) AS dose_active_kg_t_u_held,
  CASE WHEN cake_ts_pct IS NOT NULL THEN u_cake END AS cake_ts_pct_u,
  CASE WHEN filtrate_tss_mg_l IS NOT NULL THEN u_filtrate END AS filtrate_tss_mg_l_u,
  CASE
    WHEN capture_pct IS NOT NULL THEN sqrt(pow(by_filtrate, 2) + pow(by_ts, 2) + pow(by_cake, 2) + pow(by_dilution, 2)) END AS capture_pct_u,
  CASE WHEN mixing_dp_kpa IS NOT NULL THEN u_mixing END AS mixing_dp_kpa_u,
  abs(mixing_dp_ref_kpa) * sqrt(pow(u_mixing / nullif(mixing_dp_kpa, 0), 2) + 4.0 * q_systematic) AS mixing_dp_ref_kpa_u,
  energy_kwh_t * sqrt(ts_all_var + q_random + q_systematic + pow(power_gain, 2)) AS energy_kwh_t_u,
  CASE WHEN cost_total_per_t IS NOT NULL THEN sqrt(
    pow(cost_by_capture * by_ts - cost_over_solids * sqrt(ts_all_var), 2) + pow(cost_over_solids, 2) * (q_random + q_systematic)
    + pow(cost_polymer_per_t, 2) * (p_random + p_systematic) + pow(cost_by_capture * by_cake - cost_disposal_per_t / cake_ts_pct * u_cake, 2)
    + pow(cost_by_capture * by_filtrate, 2) + pow(cost_by_capture * by_dilution, 2)
      + pow(coalesce(cost_power_per_t, 0.0) * power_gain, 2)) END AS cost_total_per_t_u,
  100.0 * scatter AS feed_ts_scatter_pct
FROM slopes
ORDER BY line, operating_day;
