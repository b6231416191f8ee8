-- question: How much active polymer does a flow of made-down solution carry?
-- unit: kg/h
-- formula: p = q x 1000 kg/m3 x strength / 100
-- source: trade textbooks [from memory]
-- known limits: takes the solution as heavy as water (error below 0.2 % at working strengths)
-- example: active_from_solution_kg_h(5.4, 0.4) = 21.6
CREATE OR REPLACE MACRO active_from_solution_kg_h(q_m3_h, strength_pct) AS
    q_m3_h * 1000e0 * strength_pct / 100e0;
