-- question: How does pump discharge pressure follow flow, month by month (P = P0 + k Q2)?
-- explains: least squares over processing minutes; a growing k is a closing line or valve. No curve under 100 minutes, a flow span of 15 % of the median (5 and
-- explains: 95 % quantiles), an r2 of 0.5, or with k or P0 below none; limits common practice, no source
-- caution: Before a pump is opened or tested: stop, isolate, relieve pressure and lock out; a line may stay under pressure behind a plug. Never
-- caution: run a pump dry or against a closed valve.
-- param plant text = alder-fork: plant id
WITH fit AS (
  SELECT
    line,
    date_trunc('month', operating_day)::DATE AS month,
    count(*) AS minutes,
    regr_intercept(p, q * q) AS p0,
    regr_slope(p, q * q) AS k,
    regr_r2(p, q * q) AS r_squared,
    100.0 * (quantile_cont(q, 0.95) - quantile_cont(q, 0.05)) / median(q) AS flow_span_pct
  FROM (SELECT *, pump_discharge_pressure_kpa AS p, sludge_flow_m3_h AS q FROM minutes
        WHERE plant = $plant AND state = 'processing' AND is_covered(pump_discharge_pressure_coverage) AND is_covered(sludge_flow_coverage))
        GROUP BY ALL
), judged AS (
  SELECT
    *,
    CASE
      WHEN minutes < 100 THEN format('{} minutes, 100 needed', minutes)
      WHEN flow_span_pct < 15 THEN format('flow spans {:.0f} % of its median, 15 needed', flow_span_pct)
    WHEN coalesce(r_squared, 0) < 0.5 THEN format('r2 of {:.2f}, 0.5 needed', coalesce(r_squared, 0)) WHEN k < 0 OR p0 < 0 THEN 'no such curve' END AS curve_reason FROM fit)
SELECT
  line,
  month,
  minutes,
  CASE WHEN curve_reason IS NULL THEN p0 END AS p0_kpa,
  CASE WHEN curve_reason IS NULL THEN k END AS k_kpa_per_m3_h_squared,
  r_squared,
  flow_span_pct,
  curve_reason
FROM judged ORDER BY line, month;
