-- question: How much active polymer is in a flow of polymer as supplied?
-- unit: kg/h
-- formula: q x density x active fraction
-- source: textbook formula, from memory
-- known limits: none
CREATE OR REPLACE MACRO active_from_neat_kg_h(q_m3_h, density_kg_m3, active_fraction) AS
  q_m3_h * density_kg_m3 * active_fraction;
