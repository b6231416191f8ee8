-- question: What suction head above boiling is left at the pump?
-- unit: m of the liquid pumped
-- formula: (ps + pa - pv) / (g SG) + v2 / 2g + height of the gauge above the pump centre line
-- source: trade textbooks [from memory]
-- known limits: suction pressure is gauge; dissolved gas in digested sludge comes out earlier than boiling
-- example: npsh_available_m(0, 101.325, 3.2585, 0, 0, 1) = 10
CREATE OR REPLACE MACRO npsh_available_m(suction_kpa, atmospheric_kpa, vapour_kpa, velocity_m_s, gauge_elevation_m, sg) AS
    (suction_kpa + atmospheric_kpa - vapour_kpa) / (9.80665e0 * CASE WHEN sg > 0 THEN sg END)
    + pow(velocity_m_s, 2) / (2 * 9.80665e0) + gauge_elevation_m;
