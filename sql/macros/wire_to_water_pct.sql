-- question: Which share of the electric power reaches the sludge?
-- unit: %
-- formula: 100 Q dP / W
-- source: textbook formula, from memory
-- known limits: none
CREATE OR REPLACE MACRO wire_to_water_pct(q_m3_h, dp_kpa, power_kw) AS
  100.0 * ratio_or_null(pump_power_hydraulic_kw(q_m3_h, dp_kpa), power_kw);
