-- question: What power does the mixing point take out of the flow?
-- unit: W
-- formula: P = Q dp
-- source: definition of hydraulic power
-- known limits: hydraulic power only; the pump draws it divided by the wire-to-water efficiency
-- example: mixing_power_w(36, 10) = 100
CREATE OR REPLACE MACRO mixing_power_w(dp_kpa, q_m3_h) AS
    dp_kpa * q_m3_h / 3.6e0;
