-- question: What is an amount per tonne when told per short ton?
-- unit: unit of the amount per short ton
-- formula: 1 short ton = 0.90718474 t
-- source: unit definition (exact)
-- known limits: for any amount that is not itself a mass (money, samples)
-- example: per_t_to_per_short_ton(100) = 90.718474
CREATE OR REPLACE MACRO per_t_to_per_short_ton(per_t) AS
    per_t * 0.90718474e0;
