-- question: What share of the electrical power reaches the sludge?
-- unit: %
-- formula: 100 Q dp / W
-- source: trade textbooks [from memory]
-- known limits: needs true power, not current; null when the power is not above 0; a value above 100 points at a meter
-- example: wire_to_water_pct(90, 200, 10) = 50
CREATE OR REPLACE MACRO wire_to_water_pct(q_m3_h, dp_kpa, power_kw) AS
    CASE WHEN power_kw > 0 THEN 100e0 * q_m3_h * dp_kpa / 3600e0 / power_kw END;
