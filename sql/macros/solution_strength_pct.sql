-- question: How strong is the solution that neat polymer and water make?
-- unit: % active by mass
-- formula: 100 x neat x active fraction / (neat + water), 1 m3 of water = 1000 kg; amounts or rates
-- source: trade textbooks [from memory]
-- known limits: null when both are 0
-- example: solution_strength_pct(10, 0.4, 0.99) = 0.4
CREATE OR REPLACE MACRO solution_strength_pct(neat_kg, active_fraction, water_m3) AS
    CASE
        WHEN neat_kg >= 0 AND water_m3 >= 0 THEN 100e0 * neat_kg * active_fraction / nullif(neat_kg + 1000e0 * water_m3, 0)
    END;
