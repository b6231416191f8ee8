-- question: What is a specific water use in US gallons per short dry ton?
-- unit: US gal/short dry ton
-- formula: 1 short ton = 0.90718474 t; 1 US gal = 0.003785411784 m3
-- source: unit definition (exact)
-- known limits: none
-- example: m3_t_to_gal_dt(1) = 239.6528546
CREATE OR REPLACE MACRO m3_t_to_gal_dt(m3_t) AS
    m3_t * 0.90718474e0 / 3.785411784e-3;
