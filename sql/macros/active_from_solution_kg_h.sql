-- question: How much active polymer is in a flow of made-down solution?
-- unit: kg/h
-- formula: q x 1000 kg/m3 x strength / 100
-- source: textbook formula, from memory
-- known limits: density of the dilute solution taken as that of water
CREATE OR REPLACE MACRO active_from_solution_kg_h(q_m3_h, strength_pct) AS
  q_m3_h * 1000.0 * strength_pct / 100.0;
