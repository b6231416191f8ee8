-- question: How much are m3 per tonne in gallons per short dry ton?
-- unit: gal/dt
-- formula: x / 0.003785411784 * 0.90718474
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO m3_t_to_gal_dt(x) AS
  x / 0.003785411784 * 0.90718474;
