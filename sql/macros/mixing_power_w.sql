-- question: Which hydraulic power is spent at the mixing point?
-- unit: W
-- formula: Q dP
-- source: textbook formula, from memory
-- known limits: none
CREATE OR REPLACE MACRO mixing_power_w(q_m3_h, dp_kpa) AS
  q_m3_h / 3.6 * dp_kpa;
