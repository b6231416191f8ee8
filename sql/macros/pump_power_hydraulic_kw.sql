-- question: Which power reaches the sludge?
-- unit: kW
-- formula: Q dP / 3600
-- source: textbook formula, from memory
-- known limits: none
CREATE OR REPLACE MACRO pump_power_hydraulic_kw(q_m3_h, dp_kpa) AS
  q_m3_h * dp_kpa / 3600.0;
