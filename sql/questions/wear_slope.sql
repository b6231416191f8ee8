-- question: How fast does each pump wear per 1,000 run hours, and which loss can be excluded?
-- explains: least squares of the weekly index on run hours since the present reference, at least twelve weeks that say as much as three independent ones;
-- explains: weeks further than 7.4 median deviations (5 sigma) from the median are left out. The interval (about 95 %) joins two parts: scatter of weeks
-- explains: that lean on each other (first-order autoregression, its coefficient at least 0.4; Student's t for the weeks that it leaves), and drift of the
-- explains: meters as a random walk, which looks like wear; a drift of the flow meter moves the slip index by drift / slip fraction. On flat indices with a
-- explains: coefficient of 0 to 0.6 and 12 to 52 weeks the scatter part alone held the truth in 94 to 99.9 of 100. Only a water test with checked meters tells
-- explains: wear from drift.
-- caution: Before a pump is opened or tested: stop, isolate, relieve pressure and lock out; a line may stay under pressure behind a plug. Never
-- caution: run a pump dry or against a closed valve.
-- param plant text = : plant id; empty for all
-- param flow_drift number = 1.0: drift of the flow meter, % of reading per root year (assumed)
-- param head_drift number = 1.5: drift of the two pressures together, % of the pressure difference per root year (assumed)
WITH week AS (
  SELECT plant, pump, pump_kind, week_start_day, reference_day, coalesce(wear_index, slip_index) AS y, slip_fraction,
    sum(run_h) OVER (PARTITION BY plant, pump, reference_day ORDER BY week_start_day) / 1000.0 AS x
  FROM pump_condition
  WHERE reference_day IS NOT NULL AND ($plant IS NULL OR plant = $plant)
  QUALIFY reference_day = max(reference_day) OVER (PARTITION BY plant, pump)
), near AS (
  SELECT *, abs(y - median(y) OVER p) > 7.4 * nullif(mad(y) OVER p, 0) AS is_far FROM week WHERE y IS NOT NULL WINDOW p AS (PARTITION BY plant, pump)
), known AS (
  SELECT *, y - regr_intercept(y, x) OVER p - x * regr_slope(y, x) OVER p AS e
  FROM near WHERE is_far IS NOT TRUE WINDOW p AS (PARTITION BY plant, pump)
), lagged AS (
  SELECT *, lag(e) OVER (PARTITION BY plant, pump ORDER BY week_start_day) AS e1 FROM known
), summed AS (
  SELECT plant, pump, any_value(pump_kind) AS pump_kind, any_value(reference_day) AS reference_day, count(*) AS weeks, max(x) * 1000.0 AS run_h,
    (date_diff('day', min(week_start_day), max(week_start_day)) + 7) / 365.25 AS years,
    max(x) - min(x) AS span_kh,
    avg(slip_fraction) AS slip_fraction,
    regr_slope(y, x) AS slope_per_1000_h, coalesce(ratio_or_null(sum(e * e1), sum(e * e)), 0.0) AS r1,
    greatest(0.4, least(0.9, r1 + (1 + 4 * r1) / count(*))) AS rho, count(*) * (1 - rho) / (1 + rho) AS worth_weeks,
    sqrt(sum(e * e) / CASE WHEN worth_weeks >= 3 THEN worth_weeks - 2 END / nullif(regr_sxx(y, x), 0)) AS se, t_975(worth_weeks - 2) AS t,
    CASE WHEN count(*) < 12 THEN format('{} weeks with an index, 12 needed', count(*))
      WHEN worth_weeks < 3 THEN format('{} weeks lean on each other as if they were {:.1f}, 3 needed', count(*), worth_weeks) END AS refusal
  FROM lagged GROUP BY plant, pump
), told AS (
  SELECT *, CASE pump_kind WHEN 'rotodynamic' THEN -100.0 ELSE 100.0 END * slope_per_1000_h AS loss_pct, 100.0 * t * se AS scatter_pct,
    1.96 * sqrt(pow($head_drift, 2) + pow($flow_drift / coalesce(nullif(slip_fraction, 0), 1.0), 2)) * sqrt(1.2 / years) * years / nullif(span_kh, 0) AS drift_pct,
    sqrt(scatter_pct * scatter_pct + drift_pct * drift_pct) AS half_pct
  FROM summed
)
SELECT
  plant,
  pump,
  pump_kind,
  reference_day,
  weeks,
  (SELECT count(*) FROM near f WHERE f.plant = told.plant AND f.pump = told.pump AND f.is_far) AS weeks_left_out,
  run_h,
  CASE WHEN refusal IS NULL THEN slope_per_1000_h END AS slope_per_1000_h,
  CASE WHEN refusal IS NULL THEN scatter_pct END AS scatter_half_pct, CASE WHEN refusal IS NULL THEN drift_pct END AS drift_half_pct,
  CASE WHEN refusal IS NULL THEN loss_pct - half_pct END AS loss_low_pct, CASE WHEN refusal IS NULL THEN loss_pct + half_pct END AS loss_high_pct,
  CASE
    WHEN refusal IS NOT NULL THEN refusal
    WHEN loss_pct - half_pct > 0
      THEN format('{} of {:.2f} % per 1,000 run hours, between {:.2f} and {:.2f}', CASE pump_kind WHEN 'rotodynamic' THEN 'loss of head' ELSE 'growth of slip' END,
        loss_pct, loss_pct - half_pct, loss_pct + half_pct)
    WHEN loss_pct + half_pct > 0 THEN format('not resolved: only a {} above {:.2f} % per 1,000 run hours can be excluded', CASE pump_kind WHEN 'rotodynamic' THEN 'loss of head' ELSE 'growth of slip' END,
      loss_pct + half_pct)
    ELSE 'the index moves the other way: look at the meters and at the sludge'
  END AS statement
FROM told ORDER BY plant, pump;
