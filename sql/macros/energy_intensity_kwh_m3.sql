-- question: What energy does lifting a volume of water by a head take?
-- unit: kWh/m3
-- formula: e = density g H / efficiency, 1000 kg/m3, 3.6e6 J/kWh; efficiency as a fraction, wire to water
-- source: Sowby and Krieger, pump energy intensity equation (0.00272 kWh/m3 per m at efficiency 1)
-- known limits: water at SG 1; null when the efficiency is not within (0, 1]
-- example: energy_intensity_kwh_m3(10, 0.5) = 0.0544813889
CREATE OR REPLACE MACRO energy_intensity_kwh_m3(head_m, efficiency) AS
    CASE WHEN efficiency > 0 AND efficiency <= 1 THEN 1000e0 * 9.80665e0 * head_m / 3.6e6 / efficiency END;
