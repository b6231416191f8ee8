-- question: How much polymer as supplied does a batch of solution need?
-- unit: kg
-- formula: neat = solution x strength / 100 / active fraction
-- source: trade textbooks [from memory]
-- known limits: null when the active fraction is not above 0
-- example: neat_for_solution_kg(120, 0.5, 0.12) = 5
CREATE OR REPLACE MACRO neat_for_solution_kg(solution_kg, strength_pct, active_fraction) AS
    solution_kg * strength_pct / 100e0 / CASE WHEN active_fraction > 0 THEN active_fraction END;
