-- question: How much slips back in each displacement pump at one pressure difference, against commissioning?
-- explains: slip index of the week times the slip at commissioning, both at the pressure asked for, in gpm. index_se is scatter of days,
-- explains: index_u_systematic the meters: 1 % of flow moves the index by 1 % / slip fraction. Above 20 % of the index no slip is told against
-- explains: commissioning; changes against the same meters and reference: wear_slope
-- caution: Before a pump is opened or tested: stop, isolate, relieve pressure and lock out; a line may stay under pressure behind a plug. Never
-- caution: run a pump dry or against a closed valve.
-- param plant text = : plant id; empty for all
-- param pressure number = 30: pressure difference, psi
-- param since date = 2026-01-01: first day of the first week
SELECT
  c.plant,
  c.pump,
  c.week_start_day,
  c.index_u_systematic IS NULL OR c.index_u_systematic <= 0.2 * c.slip_index AS is_known,
  CASE WHEN is_known THEN c.slip_index END AS slip_index,
  c.index_se,
  c.index_u_systematic,
  m3_h_to_gpm(b.slip_k0 * CASE b.slip_form WHEN 'sqrt' THEN sqrt($pressure * 6.894757293168361) ELSE $pressure * 6.894757293168361 END) AS slip_new_gpm,
  CASE WHEN is_known THEN c.slip_index * slip_new_gpm END AS slip_gpm,
  100.0 * c.slip_fraction AS slip_pct_of_displaced,
  c.index_minutes / 60.0 AS index_h,
  CASE
    WHEN is_known THEN c.index_reason
    ELSE format('meters leave {:.0f} % of the index open, 20 is the most', 100.0 * c.index_u_systematic / c.slip_index) END AS index_reason
FROM pump_condition c
LEFT JOIN pump_baselines b ON b.plant = c.plant AND b.pump = c.pump AND b.measured_day = c.reference_day
WHERE c.pump_kind = 'displacement' AND c.week_start_day >= $since AND ($plant IS NULL OR c.plant = $plant)
ORDER BY c.plant, c.pump, c.week_start_day;
