-- question: What share of the solids fed leaves with the cake, when water dilutes the filtrate sample?
-- unit: % of dry solids fed
-- formula: R = 100 [1 - (X/TS)(1 + w)] / [1 - X/C], X in % = mg/L / 10000, w = diluting water per sludge volume
-- source: steady mass balance of solids and water; undiluted form in trade textbooks [from memory]
-- known limits: null when an input is null, when the cake is no drier than the feed, or when the filtrate would carry as much solids as was
--         fed; feed and filtrate must be on one basis (TS against TSS reads a few tenths of a point off); liquids taken as heavy as water
-- example: capture_pct(2.5, 22, 1000, 0) = 96.438356
CREATE OR REPLACE MACRO capture_pct(ts_pct, cake_ts_pct, filtrate_tss_mg_l, dilution_ratio) AS
    CASE
        WHEN ts_pct > 0 AND cake_ts_pct > ts_pct AND filtrate_tss_mg_l >= 0 AND dilution_ratio >= 0
            AND filtrate_tss_mg_l / 10000e0 * (1 + dilution_ratio) < ts_pct
        THEN 100e0 * (1 - filtrate_tss_mg_l / 10000e0 / ts_pct * (1 + dilution_ratio))
            / (1 - filtrate_tss_mg_l / 10000e0 / cake_ts_pct)
    END;
