-- question: How much active polymer does a flow of polymer as supplied carry?
-- unit: kg/h
-- formula: p = q x density x active fraction (by mass)
-- source: trade textbooks [from memory]
-- known limits: the active fraction is only as good as its certificate
-- example: active_from_neat_kg_h(0.02, 1030, 0.41) = 8.446
CREATE OR REPLACE MACRO active_from_neat_kg_h(q_m3_h, density_kg_m3, active_fraction) AS
    q_m3_h * density_kg_m3 * active_fraction;
