-- question: How fast does each pump wear per 1,000 run hours, and which loss can be excluded?
-- explains: least squares of the weekly index on run hours since the present reference, at least six weeks. The interval (about 95 %) joins two parts:
-- explains: scatter of the weeks taken as correlated (Newey-West, two weeks of lag, t factor), and drift of the meters as a random walk, which looks like
-- explains: wear; a drift of the flow meter moves the slip index by drift / slip fraction. Only a water test with checked meters tells wear from drift.
-- param plant text = : plant id; empty for all
-- param flow_drift number = 1.0: drift of the flow meter, % of reading per root year (assumed)
-- param head_drift number = 1.5: drift of the two pressures together, % of the pressure difference per root year (assumed)
WITH week AS (
  SELECT plant, pump, pump_kind, week_start_day, reference_day, coalesce(wear_index, slip_index) AS y, slip_fraction,
    sum(run_h) OVER (PARTITION BY plant, pump, reference_day ORDER BY week_start_day) / 1000.0 AS x
  FROM pump_condition
  WHERE reference_day IS NOT NULL AND ($plant IS NULL OR plant = $plant)
  QUALIFY reference_day = max(reference_day) OVER (PARTITION BY plant, pump)
), known AS (
  SELECT *, count(*) OVER p AS n, avg(x) OVER p AS mx, regr_slope(y, x) OVER p AS slope, regr_intercept(y, x) OVER p AS a
  FROM week WHERE y IS NOT NULL WINDOW p AS (PARTITION BY plant, pump)
), score AS (
  SELECT *, (x - mx) * (y - a - slope * x) AS z FROM known
), lagged AS (
  SELECT *, lag(z, 1) OVER w AS z1, lag(z, 2) OVER w AS z2 FROM score WINDOW w AS (PARTITION BY plant, pump ORDER BY week_start_day)
), summed AS (
  SELECT plant, pump, any_value(pump_kind) AS pump_kind, any_value(reference_day) AS reference_day, count(*) AS weeks, max(x) * 1000.0 AS run_h,
    (date_diff('day', min(week_start_day), max(week_start_day)) + 7) / 365.25 AS years, max(x) - min(x) AS span_kh, avg(slip_fraction) AS slip_fraction,
    any_value(slope) AS slope_per_1000_h,
    sqrt(greatest(0.0, sum(z * z + coalesce(2.0 * 2.0 / 3.0 * z * z1, 0.0) + coalesce(2.0 / 3.0 * z * z2, 0.0))) * count(*) / nullif(count(*) - 2, 0))
      / nullif(sum(pow(x - mx, 2)), 0) AS se,
    1.96 + 2.37 / nullif(count(*) - 2, 0) + 2.82 / pow(nullif(count(*) - 2, 0), 2) AS t
  FROM lagged GROUP BY plant, pump
), told AS (
  SELECT *, CASE pump_kind WHEN 'rotodynamic' THEN -100.0 ELSE 100.0 END * slope_per_1000_h AS loss_pct, 100.0 * t * se AS scatter_pct,
    1.96 * sqrt(pow($head_drift, 2) + pow($flow_drift / coalesce(nullif(slip_fraction, 0), 1.0), 2)) * sqrt(1.2 / years) * years / nullif(span_kh, 0) AS drift_pct,
    sqrt(scatter_pct * scatter_pct + drift_pct * drift_pct) AS half_pct
  FROM summed
)
SELECT plant, pump, pump_kind, reference_day, weeks, run_h,
  CASE WHEN weeks >= 6 THEN slope_per_1000_h END AS slope_per_1000_h,
  CASE WHEN weeks >= 6 THEN scatter_pct END AS scatter_half_pct, CASE WHEN weeks >= 6 THEN drift_pct END AS drift_half_pct,
  CASE WHEN weeks >= 6 THEN loss_pct - half_pct END AS loss_low_pct, CASE WHEN weeks >= 6 THEN loss_pct + half_pct END AS loss_high_pct,
  CASE
    WHEN weeks < 6 THEN format('{} weeks with an index, 6 needed', weeks)
    WHEN loss_pct - half_pct > 0
      THEN format('{} of {:.2f} % per 1,000 run hours, between {:.2f} and {:.2f}', CASE pump_kind WHEN 'rotodynamic' THEN 'loss of head' ELSE 'growth of slip' END,
        loss_pct, loss_pct - half_pct, loss_pct + half_pct)
    WHEN loss_pct + half_pct > 0 THEN format('not resolved: only a {} above {:.2f} % per 1,000 run hours can be excluded', CASE pump_kind WHEN 'rotodynamic' THEN 'loss of head' ELSE 'growth of slip' END,
      loss_pct + half_pct)
    ELSE 'the index moves the other way: look at the meters and at the sludge'
  END AS statement
FROM told ORDER BY plant, pump;
