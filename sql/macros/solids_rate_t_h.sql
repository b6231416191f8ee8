-- question: How much dry solids does a sludge flow carry?
-- unit: t/h
-- formula: S = Q x SG x TS / 100, with 1 m3 of water weighing 1 t
-- source: trade textbooks [from memory]; 10 x Q x TS x SG in kg/h
-- known limits: SG is that of the liquid sludge; taking 1.00 for a real 1.02 reads 2 % low
-- example: solids_rate_t_h(90, 2.4, 1) = 2.16
CREATE OR REPLACE MACRO solids_rate_t_h(q_m3_h, ts_pct, sg) AS
    q_m3_h * sg * ts_pct / 100e0;
