-- question: What is a dose in pounds per short dry ton?
-- unit: lb/short dry ton
-- formula: 1 kg/t = 2 lb/short ton, exactly
-- source: unit definition (exact)
-- known limits: short ton of 2000 lb; the basis (active or neat) stays what it was
-- example: kg_t_to_lb_dt(10) = 20
CREATE OR REPLACE MACRO kg_t_to_lb_dt(kg_t) AS
    kg_t * 2e0;
