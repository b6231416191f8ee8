-- question: What is a dose in kilograms per tonne?
-- unit: kg/t
-- formula: 1 lb/short ton = 0.5 kg/t, exactly
-- source: unit definition (exact)
-- known limits: short ton of 2000 lb; the basis (active or neat) stays what it was
-- example: lb_dt_to_kg_t(20) = 10
CREATE OR REPLACE MACRO lb_dt_to_kg_t(lb_dt) AS
    lb_dt / 2e0;
