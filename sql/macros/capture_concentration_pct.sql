-- question: What share of the solids fed leaves with the cake, if the filtrate sample is undiluted?
-- unit: % of dry solids fed
-- formula: R = 100 C (TS - X) / [TS (C - X)], X in % = mg/L / 10000
-- source: trade textbooks, concentration form [from memory]
-- known limits: overstates capture by 2-4 points when wash water dilutes the sample [common practice]; null as capture_pct
-- example: capture_concentration_pct(2.5, 22, 1000) = 96.438356
CREATE OR REPLACE MACRO capture_concentration_pct(ts_pct, cake_ts_pct, filtrate_tss_mg_l) AS
    CASE
        WHEN ts_pct > 0 AND cake_ts_pct > ts_pct AND filtrate_tss_mg_l >= 0 AND filtrate_tss_mg_l / 10000e0 < ts_pct
        THEN 100e0 * cake_ts_pct * (ts_pct - filtrate_tss_mg_l / 10000e0)
            / (ts_pct * (cake_ts_pct - filtrate_tss_mg_l / 10000e0))
    END;
