-- question: What hydraulic power does the pump give the sludge?
-- unit: kW
-- formula: P = Q dp
-- source: definition of hydraulic power
-- known limits: static pressure only; velocity head and gauge elevation are left to the caller
-- example: pump_power_hydraulic_kw(90, 200) = 5
CREATE OR REPLACE MACRO pump_power_hydraulic_kw(q_m3_h, dp_kpa) AS
    q_m3_h * dp_kpa / 3600e0;
