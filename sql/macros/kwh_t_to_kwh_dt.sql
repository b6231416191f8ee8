-- question: What is a specific energy per short dry ton?
-- unit: kWh/short dry ton
-- formula: 1 short ton = 0.90718474 t
-- source: unit definition (exact)
-- known limits: none
-- example: kwh_t_to_kwh_dt(10) = 9.0718474
CREATE OR REPLACE MACRO kwh_t_to_kwh_dt(kwh_t) AS
    kwh_t * 0.90718474e0;
