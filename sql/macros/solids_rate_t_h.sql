-- question: How many tonnes of dry solids pass in an hour?
-- unit: t/h
-- formula: Q x SG x TS / 100 (1 m3 of water = 1 t)
-- source: textbook formula, from memory
-- known limits: density of water taken as 1 t/m3
CREATE OR REPLACE MACRO solids_rate_t_h(q_m3_h, ts_pct, sg) AS
  q_m3_h * sg * ts_pct / 100.0;
