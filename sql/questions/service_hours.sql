-- question: How many hours has each pump run since its last service and its last overhaul?
-- explains: at the end of the last week; hours reset by the service log only; an entry older than the data counts from the data
-- explains: at_most counts the hours, too, in which nothing tells whether the pump ran
-- caution: Before a pump is opened or tested: stop, isolate, relieve pressure and lock out; a line may stay under pressure behind a plug. Never
-- caution: run a pump dry or against a closed valve.
-- param plant text = : plant id; empty for all
SELECT
  c.plant, c.pump, c.week_start_day AS last_week,
  c.run_since_service_h, c.run_since_service_h + c.run_since_service_unknown_h AS at_most_since_service_h, c.service_counted_from_data,
  c.run_since_overhaul_h, c.run_since_overhaul_h + c.run_since_overhaul_unknown_h AS at_most_since_overhaul_h, c.overhaul_counted_from_data,
  (SELECT arg_max(l.kind || ' ' || l.operating_day, l.at_utc) FROM service_log l WHERE l.plant = c.plant AND l.pump = c.pump) AS last_entry
FROM pump_condition c
WHERE $plant IS NULL OR c.plant = $plant
QUALIFY row_number() OVER (PARTITION BY c.plant, c.pump ORDER BY c.week_start_day DESC) = 1
ORDER BY c.plant, c.pump;
