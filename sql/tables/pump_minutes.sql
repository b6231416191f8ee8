-- question: Which minutes of the touched weeks can be held against a pump's commissioning reference, and what do they show?
-- unit: in the names; the slip coefficient k is m3/h per kPa (linear) or per root kPa (sqrt)
-- grain: line, processing minute (work table, in that order so that every sum adds in the same order)
-- formula: Q* = Q Nref/N, H* = H (Nref/N)2, index H*/(c0 + c1 Q* + c2 Q*2), for N within 60-110 % of Nref;
--          slip = 60 D N - Q, k = slip/dP or slip/root dP, index k/k0; feed TS of the operating day within the window of the reference
-- source: affinity laws and slip, trade textbooks, from memory; the windows are common practice, no source
-- known limits: the reference is the one in force when the pump last served in the week's data, minutes before it began have no index; a flow outside the points
--          of the pump curve is not compared; the window looks at the day's mean feed TS, not at the minute's
CREATE OR REPLACE TABLE work.pump_minutes AS
WITH serving AS (
  SELECT k.line, k.anchor AS week_start_day, p.pump, p.from_utc AS serving_from_utc, p.to_utc AS serving_to_utc,
    least(k.period_end_utc, max(p.to_utc) OVER (PARTITION BY k.line, k.anchor, p.pump)) AS last_served_utc,
    s.sludge_sg, p.pump_elevation_m, p.suction_pipe_m, p.discharge_pipe_m
  FROM work.long_totals k
  JOIN line_settings s ON s.line = k.line
  JOIN pump_spans p ON p.line = k.line AND p.from_utc < k.period_end_utc AND p.to_utc > k.period_start_utc
  WHERE k.kind = 'week'
), spans AS (
  SELECT v.*, b.* EXCLUDE (plant, line, pump, to_utc, curve_rms_m)
  FROM serving v
  LEFT JOIN pump_baselines b ON b.line = v.line
    AND b.pump = v.pump
    AND v.last_served_utc > b.from_utc
    AND v.last_served_utc <= b.to_utc
), shown AS (
  SELECT m.plant, m.line, b.pump, b.week_start_day, m.operating_day, m.minute_utc, b.measured_day,
    b.no_reference, b.slip_form, b.slip_k0, b.displacement_m3_rev,
    covered(greatest(m.sludge_flow_m3_h, 0.0), m.sludge_flow_coverage) AS q_m3_h,
    covered(m.pump_speed_rpm, m.pump_speed_coverage) AS speed_rpm,
    covered(m.pump_power_kw, m.pump_power_coverage) AS power_kw,
    covered(m.pump_discharge_pressure_kpa, m.pump_discharge_pressure_coverage) AS discharge_kpa,
    covered(discharge_kpa - m.pump_suction_pressure_kpa, m.pump_suction_pressure_coverage) AS rise_kpa,
    rise_kpa + hydrostatic_kpa(b.pump_elevation_m, b.sludge_sg) AS dp_kpa,
    b.no_reference IS NULL AND m.minute_utc >= b.from_utc
      AND coalesce(d.feed_ts_pct BETWEEN b.ts_low_pct AND b.ts_high_pct, b.ts_low_pct IS NULL) AS is_comparable,
    CASE WHEN is_comparable AND speed_rpm BETWEEN 0.6 * b.reference_speed_rpm AND 1.1 * b.reference_speed_rpm
      THEN speed_normalised_flow(q_m3_h, speed_rpm, b.reference_speed_rpm) END AS q_star_m3_h,
    CASE WHEN q_star_m3_h BETWEEN coalesce(b.curve_low_m3_h, 0.0) AND coalesce(b.curve_high_m3_h, 'infinity'::DOUBLE)
      THEN speed_normalised_head(total_head_m(rise_kpa, b.sludge_sg, b.pump_elevation_m, q_m3_h, b.suction_pipe_m, b.discharge_pipe_m), speed_rpm, b.reference_speed_rpm) END AS h_star_m,
    b.head_c0_m + b.head_c1 * q_star_m3_h + b.head_c2 * q_star_m3_h * q_star_m3_h AS h_ref_m,
    CASE WHEN is_comparable AND dp_kpa > 0 AND speed_rpm > 0 AND b.displacement_m3_rev IS NOT NULL
      THEN 60.0 * b.displacement_m3_rev * speed_rpm - q_m3_h END AS slip_m3_h
  FROM spans b
  JOIN minutes m ON m.line = b.line AND m.operating_day BETWEEN b.week_start_day AND b.week_start_day + 6
    AND m.minute_utc >= b.serving_from_utc AND m.minute_utc < b.serving_to_utc
  LEFT JOIN work.day_rows d ON d.line = m.line AND d.operating_day = m.operating_day
  WHERE m.state = 'processing'
    AND m.operating_day BETWEEN (SELECT min(week_start_day) FROM work.touched_weeks) AND (SELECT max(week_start_day) + 6 FROM work.touched_weeks)
)
SELECT
  plant,
  line,
  pump,
  week_start_day,
  operating_day,
  minute_utc,
  measured_day,
  no_reference,
  q_m3_h,
  speed_rpm,
  power_kw,
  discharge_kpa,
  dp_kpa,
  CASE WHEN h_star_m IS NOT NULL THEN q_star_m3_h END AS q_star_m3_h, h_star_m,
  slip_m3_h, slip_m3_h / (60.0 * displacement_m3_rev * speed_rpm) AS slip_fraction,
  coalesce(CASE WHEN h_ref_m > 0 THEN h_star_m / h_ref_m END, slip_m3_h / CASE slip_form WHEN 'sqrt' THEN sqrt(dp_kpa) ELSE dp_kpa END
    / slip_k0) AS pump_index
FROM shown
ORDER BY line, minute_utc;
