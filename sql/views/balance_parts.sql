-- question: Which solids went into each line, out with the cake and out with the filtrate, in each week and month?
-- unit: in the names
-- grain: plant, line, kind of period, period
-- formula: volume of a day = metered volume x running minutes / those with flow; where the meter or the state is not known for a part of the day, what the
--          sludge register counted, unless it differs from the meter by more than 5 % while both are known; feed solids = sum of V SG TS over days with TS / their share of V;
--          cake = tickets x mean of the same day's cake TS weighted by wet mass; filtrate = mean TSS weighted by V (1 + w) x [sum V (1 + w) - cake]
-- source: mass balance; 1 m3 water = 1 t
-- known limits: a period is whole when all its days are there and tickets have come up to its last feeding day or later; cake in the hopper at the ends of the period is not known; TSS leaves out dissolved solids
CREATE OR REPLACE VIEW balance_parts AS
WITH ticket AS (
  SELECT plant, line, operating_day, count(*) AS tickets, sum(value ORDER BY sample_id) AS wet_t FROM lab_results
  WHERE point = 'cake haul' AND analyte = 'wet_mass' AND is_used AND value IS NOT NULL
  GROUP BY plant, line, operating_day
), told AS ( -- up to which day tickets have come
  SELECT plant, max(operating_day) AS last_ticket_day FROM ticket GROUP BY plant
), day AS (
  SELECT
    h.plant,
    h.line,
    h.operating_day,
    s.week_start,
    s.sludge_sg,
    h.feed_ts_pct,
    h.cake_ts_pct,
    h.filtrate_tss_mg_l,
    h.dilution_ratio,
    coalesce(t.tickets, 0) AS tickets, t.wet_t,
    coalesce(h.sludge_register_m3 > 0 AND (h.unknown_minutes >= 30 OR d.flow_known_minutes < d.running_minutes), false)
      AND coalesce(h.sludge_closure BETWEEN 0.95 AND 1.05, true) AS is_counted,
    CASE WHEN is_counted THEN h.sludge_register_m3 WHEN d.fed_running_m3 > 0 THEN d.fed_running_m3 END AS metered_m3,
    CASE
      WHEN is_counted THEN metered_m3
      ELSE metered_m3 * d.running_minutes / nullif(d.flow_known_minutes, 0) END AS fed_m3,
    NOT is_counted
      AND (coalesce(d.running_minutes > 0 AND d.flow_known_minutes = 0, false) OR (coalesce(d.running_minutes, 0) = 0 AND h.unknown_minutes >= 120))
      AS is_unmetered
  FROM kpi_day h
  JOIN line_settings s ON s.plant = h.plant AND s.line = h.line
  LEFT JOIN line_day d ON d.plant = h.plant AND d.line = h.line AND d.operating_day = h.operating_day
  LEFT JOIN ticket t ON t.plant = h.plant AND t.line = h.line AND t.operating_day = h.operating_day
), member AS (
  SELECT
    'week' AS kind,
    operating_day - ((isodow(operating_day) - week_start + 7) % 7)::INTEGER AS period_start_day,
    period_start_day + 6 AS period_end_day,
    *
  FROM day
  UNION ALL BY NAME
  SELECT
    'month' AS kind,
    date_trunc('month', operating_day)::DATE AS period_start_day,
    last_day(operating_day) AS period_end_day,
    *
  FROM day
), summed AS (
  SELECT plant, line, kind, period_start_day, any_value(period_end_day) AS period_end_day,
    count(*) = any_value(period_end_day - period_start_day) + 1
      AND max(operating_day) FILTER (fed_m3 IS NOT NULL) <= any_value(last_ticket_day) IS NOT FALSE AS is_whole,
    count(fed_m3)::INTEGER AS feeding_days,
    count(*) FILTER (is_unmetered)::INTEGER AS unmetered_days,
    sum(tickets)::INTEGER AS tickets,
    count(wet_t)::INTEGER AS ticket_days,
    sum(wet_t ORDER BY operating_day) AS cake_wet_t,
    sum(fed_m3 ORDER BY operating_day) AS fed_m3,
    coalesce(sum(metered_m3 ORDER BY operating_day) FILTER (feed_ts_pct IS NOT NULL), 0.0) AS known_m3,
    sum(fed_m3 ORDER BY operating_day) FILTER (feed_ts_pct IS NOT NULL) AS sampled_m3,
    sum(fed_m3 * sludge_sg * feed_ts_pct / 100.0 ORDER BY operating_day) AS sampled_solids_t,
    coalesce(sum(wet_t ORDER BY operating_day) FILTER (cake_ts_pct IS NOT NULL), 0.0) AS tested_wet_t,
    sum(wet_t * cake_ts_pct ORDER BY operating_day) FILTER (cake_ts_pct IS NOT NULL) AS tested_wet_pct,
    coalesce(sum(fed_m3 ORDER BY operating_day) FILTER (filtrate_tss_mg_l IS NOT NULL AND dilution_ratio IS NOT NULL), 0.0) AS filtrate_known_m3,
    sum(fed_m3 * (1.0 + dilution_ratio) ORDER BY operating_day) FILTER (filtrate_tss_mg_l IS NOT NULL) AS filtrate_water_m3,
    sum(fed_m3 * (1.0 + dilution_ratio) * filtrate_tss_mg_l ORDER BY operating_day) AS filtrate_water_mg_l
  FROM member LEFT JOIN told USING (plant)
  GROUP BY plant, line, kind, period_start_day
)
SELECT
  plant,
  line,
  kind,
  period_start_day,
  period_end_day,
  is_whole,
  feeding_days,
  unmetered_days,
  tickets,
  ticket_days,
  fed_m3,
  known_m3,
  sampled_solids_t * ratio_or_null(fed_m3, sampled_m3) AS feed_solids_t,
  cake_wet_t, tested_wet_t, cake_wet_t * ratio_or_null(tested_wet_pct, tested_wet_t) / 100.0 AS cake_solids_t,
  filtrate_known_m3,
  filtrate_water_m3 * ratio_or_null(fed_m3, filtrate_known_m3) - coalesce(cake_wet_t, 0.0) AS filtrate_volume_m3,
  filtrate_volume_m3 * ratio_or_null(filtrate_water_mg_l, filtrate_water_m3) / 1e6 AS filtrate_solids_t
FROM summed;
