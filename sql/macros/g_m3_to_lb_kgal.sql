-- question: What is a mass per volume in pounds per 1,000 US gallons?
-- unit: lb/1,000 US gal
-- formula: 1 lb = 453.59237 g; 1,000 US gal = 3.785411784 m3
-- source: definitions of the units
-- known limits: none
-- example: g_m3_to_lb_kgal(100) = 0.8345404452
CREATE OR REPLACE MACRO g_m3_to_lb_kgal(g_m3) AS
    g_m3 * 3.785411784e0 / 453.59237e0;
