-- question: Do the solids fed leave again with the cake and the filtrate?
-- unit: in the names
-- grain: plant, line (and all lines together), kind of period, period
-- formula: closure = (cake solids + filtrate solids) / feed solids, sql/views/balance_parts.sql
-- source: mass balance; limits 0.90-1.10 a week and 0.95-1.05 a month, feed coverage of 90 %, cake and filtrate coverage of 60 % (a
--         laboratory that works five days of seven has 71 %) and tickets on half of the feeding days: common practice, no source
-- known limits: of a period that is not whole (tickets come late) the closure is shown, not judged; sheets may book all tickets on one line: then only 'all lines' has a closure
CREATE OR REPLACE VIEW solids_balance AS
WITH together AS (
  SELECT plant, 'all lines' AS line, kind, period_start_day, any_value(period_end_day) AS period_end_day,
    bool_and(is_whole) AS is_whole,
    max(feeding_days)::INTEGER AS feeding_days,
    sum(unmetered_days)::INTEGER AS unmetered_days,
    sum(tickets)::INTEGER AS tickets,
    max(ticket_days)::INTEGER AS ticket_days,
    sum(fed_m3 ORDER BY line) AS fed_m3,
    sum(known_m3 ORDER BY line) AS known_m3,
    CASE
      WHEN count(*) FILTER (feeding_days > 0 AND feed_solids_t IS NULL) = 0 THEN sum(feed_solids_t ORDER BY line) END AS feed_solids_t,
    sum(cake_wet_t ORDER BY line) AS cake_wet_t, sum(tested_wet_t ORDER BY line) AS tested_wet_t,
    CASE
      WHEN count(*) FILTER (cake_wet_t IS NOT NULL AND cake_solids_t IS NULL) = 0 THEN sum(cake_solids_t ORDER BY line) END AS cake_solids_t,
    sum(filtrate_known_m3 ORDER BY line) AS filtrate_known_m3,
    CASE
      WHEN count(*) FILTER (feeding_days > 0 AND filtrate_solids_t IS NULL) = 0 THEN sum(filtrate_volume_m3 ORDER BY line) END AS filtrate_volume_m3,
    CASE
      WHEN count(*) FILTER (feeding_days > 0 AND filtrate_solids_t IS NULL) = 0 THEN sum(filtrate_solids_t ORDER BY line) END AS filtrate_solids_t,
    count(*) FILTER (feeding_days > 0)::INTEGER AS lines_feeding,
    count(*) FILTER (tickets > 0)::INTEGER AS lines_hauling
  FROM balance_parts GROUP BY plant, kind, period_start_day
), every AS (
  SELECT p.*, t.lines_feeding, t.lines_hauling FROM balance_parts p
  JOIN together t ON t.plant = p.plant AND t.kind = p.kind AND t.period_start_day = p.period_start_day
  UNION ALL BY NAME
  FROM together
), judged AS (
  SELECT *, CASE WHEN fed_m3 > 0 THEN least(1.0, known_m3 / fed_m3) END AS feed_coverage,
    CASE WHEN cake_wet_t > 0 THEN least(1.0, tested_wet_t / cake_wet_t) END AS cake_coverage,
    CASE WHEN fed_m3 > 0 THEN least(1.0, filtrate_known_m3 / fed_m3) END AS filtrate_coverage,
    CASE kind WHEN 'week' THEN 0.90 ELSE 0.95 END::DOUBLE AS limit_low,
    CASE kind WHEN 'week' THEN 1.10 ELSE 1.05 END::DOUBLE AS limit_high,
    CASE
      WHEN unmetered_days > 0 THEN format('feed flow unknown on {} days', unmetered_days)
      WHEN feeding_days = 0 THEN 'no sludge fed'
      WHEN tickets = 0 THEN 'no truck tickets'
      WHEN line <> 'all lines' AND lines_hauling < lines_feeding THEN 'tickets of another line missing: see all lines'
      WHEN ticket_days < 0.5 * feeding_days THEN format('tickets on {} of {} feeding days', ticket_days, feeding_days)
      WHEN coalesce(feed_coverage, 0.0) < 0.9 THEN format('feed flow and TS known for {:.0f} % of the volume, 90 needed', 100.0 * coalesce(feed_coverage, 0.0))
      WHEN coalesce(cake_coverage, 0.0) < 0.6 THEN format('cake TS known for {:.0f} % of the wet cake, 60 needed', 100.0 * coalesce(cake_coverage, 0.0))
      WHEN coalesce(filtrate_coverage, 0.0) < 0.6
        THEN format('filtrate TSS and dilution known for {:.0f} % of the volume, 60 needed', 100.0 * coalesce(filtrate_coverage, 0.0))
      WHEN filtrate_solids_t < 0 THEN 'more cake hauled than sludge and water fed'
    END AS closure_reason,
    CASE
      WHEN closure_reason IS NULL THEN ratio_or_null(cake_solids_t + filtrate_solids_t, feed_solids_t) END AS solids_closure
  FROM every
)
SELECT
  plant,
  line,
  kind,
  period_start_day,
  period_end_day,
  is_whole,
  feed_solids_t,
  feed_coverage,
  tickets,
  ticket_days,
  feeding_days,
  cake_wet_t, 100.0 * ratio_or_null(cake_solids_t, cake_wet_t) AS hauled_ts_pct, cake_coverage, cake_solids_t,
  filtrate_volume_m3, filtrate_coverage, filtrate_solids_t,
  solids_closure, limit_low, limit_high,
  CASE
    WHEN solids_closure IS NOT NULL AND NOT is_whole THEN 'period not whole'
    WHEN solids_closure < limit_low THEN 'below limits'
    WHEN solids_closure > limit_high THEN 'above limits'
    WHEN solids_closure IS NOT NULL THEN 'within limits' END AS verdict,
  closure_reason
FROM judged;
