-- question: Does the polymer the meters saw agree with what was delivered and what is left?
-- unit: in the names; kg as supplied
-- grain: plant, month
-- formula: metered use / (deliveries - change of stock), all three from the opening to the closing stock reading; without one of the readings deliveries
--          are those of the calendar month and there is no closure
-- source: mass balance; limits 0.95-1.05 and meter coverage of 95 %: common practice, no source
-- known limits: a stock reading counts as taken before the deliveries and the use of its operating day; all products of the plant together
CREATE OR REPLACE VIEW polymer_inventory AS
WITH month AS (
  SELECT DISTINCT
    plant,
    date_trunc('month', operating_day)::DATE AS month_start_day,
    last_day(operating_day) + 1 AS next_start_day
  FROM line_day
), stock AS (
  SELECT plant, operating_day, sum(value ORDER BY sample_id) AS stock_kg FROM lab_results
  WHERE point = 'polymer store' AND analyte = 'stock_mass' AND is_used AND value IS NOT NULL
  GROUP BY plant, operating_day
), opened AS (
  SELECT m.plant, m.month_start_day, m.next_start_day,
    arg_min(o.operating_day, (abs(o.operating_day - m.month_start_day), o.operating_day)) AS opening_day
  FROM month m
  LEFT JOIN stock o ON o.plant = m.plant AND o.operating_day BETWEEN m.month_start_day - 3 AND m.month_start_day + 3
  GROUP BY ALL
), edges AS (
  SELECT e.plant, e.month_start_day, e.next_start_day, e.opening_day,
    arg_min(c.operating_day, (abs(c.operating_day - e.next_start_day), c.operating_day)) AS closing_day
  FROM opened e
  LEFT JOIN stock c ON c.plant = e.plant AND c.operating_day BETWEEN e.next_start_day - 3 AND e.next_start_day + 3
  GROUP BY ALL
), ends AS (
  SELECT
    e.plant,
    e.month_start_day,
    is_read,
    CASE WHEN is_read THEN e.opening_day ELSE e.month_start_day END AS from_day,
    CASE WHEN is_read THEN e.closing_day ELSE e.next_start_day END AS to_day
  FROM (SELECT *, opening_day IS NOT NULL AND closing_day IS NOT NULL AS is_read FROM edges) e
), delivered AS (
  SELECT
    e.plant,
    e.month_start_day,
    count(*)::INTEGER AS deliveries,
    sum(l.value ORDER BY l.operating_day, l.sample_id) AS delivered_kg,
    string_agg(DISTINCT l.lot, ', ' ORDER BY l.lot) AS lots
  FROM ends e JOIN lab_results l ON l.plant = e.plant AND l.operating_day >= e.from_day AND l.operating_day < e.to_day
  WHERE l.point = 'polymer store' AND l.analyte = 'delivered_mass' AND l.is_used AND l.value IS NOT NULL
  GROUP BY ALL
), metered AS (
  SELECT e.plant, e.month_start_day, sum(d.polymer_neat_all_kg ORDER BY d.line, d.operating_day) AS used_by_meter_kg,
    ratio_or_null(sum(d.polymer_known_minutes), sum(d.running_minutes)) AS meter_coverage
  FROM edges e
  JOIN line_day d ON d.plant = e.plant AND d.operating_day >= e.opening_day AND d.operating_day < e.closing_day
  GROUP BY ALL
), gathered AS (
  SELECT
    e.*,
    o.stock_kg AS opening_stock_kg,
    c.stock_kg AS closing_stock_kg,
    CASE WHEN n.is_read THEN coalesce(d.deliveries, 0) ELSE d.deliveries END AS deliveries,
    CASE WHEN n.is_read THEN coalesce(d.delivered_kg, 0.0) ELSE d.delivered_kg END AS delivered_kg,
    d.lots,
    u.used_by_meter_kg,
    u.meter_coverage,
    coalesce(d.delivered_kg, 0.0) - (c.stock_kg - o.stock_kg) AS used_by_stock_kg,
    CASE
      WHEN e.opening_day IS NULL THEN 'no stock reading within 3 days of the start of the month'
      WHEN e.closing_day IS NULL THEN 'no stock reading within 3 days of the end of the month'
      WHEN u.used_by_meter_kg IS NULL THEN 'polymer meter unknown'
      WHEN coalesce(u.meter_coverage, 0.0) < 0.95
        THEN format('polymer meter known in {:.0f} % of running minutes, 95 needed', 100.0 * coalesce(u.meter_coverage, 0.0))
      WHEN used_by_stock_kg <= 0 THEN 'stock rose by more than was delivered'
    END AS closure_reason,
    CASE WHEN closure_reason IS NULL THEN ratio_or_null(u.used_by_meter_kg, used_by_stock_kg) END AS inventory_closure
  FROM edges e
  JOIN ends n ON n.plant = e.plant AND n.month_start_day = e.month_start_day
  LEFT JOIN stock o ON o.plant = e.plant AND o.operating_day = e.opening_day
  LEFT JOIN stock c ON c.plant = e.plant AND c.operating_day = e.closing_day
  LEFT JOIN delivered d ON d.plant = e.plant AND d.month_start_day = e.month_start_day
  LEFT JOIN metered u ON u.plant = e.plant AND u.month_start_day = e.month_start_day
)
SELECT
  plant,
  month_start_day,
  opening_day,
  closing_day,
  opening_stock_kg,
  closing_stock_kg,
  deliveries,
  delivered_kg,
  lots,
  used_by_stock_kg, used_by_meter_kg, meter_coverage, inventory_closure,
  CASE WHEN inventory_closure < 0.95 THEN 'below limits' WHEN inventory_closure > 1.05 THEN 'above limits'
    WHEN inventory_closure IS NOT NULL THEN 'within limits' END AS verdict,
  closure_reason
FROM gathered;
