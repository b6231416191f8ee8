-- question: What share of the feed solids ends in the cake?
-- unit: %
-- formula: 100 [1 - X/TS (1 + w)] / [1 - X/C], X in % = mg/L / 10,000, w = dilution water per sludge
-- source: textbook form, from memory; dilution form from the same balance with water added to the filtrate
-- known limits: null when cake is not drier than feed or filtrate solids exceed feed solids; feed and filtrate must be on the same solids basis
CREATE OR REPLACE MACRO capture_pct(ts_pct, cake_ts_pct, filtrate_tss_mg_l, dilution_ratio) AS
  CASE
    WHEN filtrate_tss_mg_l / 10000.0 * (1.0 + dilution_ratio) < ts_pct AND filtrate_tss_mg_l / 10000.0 < cake_ts_pct AND cake_ts_pct > ts_pct
    THEN 100.0 * (1.0 - filtrate_tss_mg_l / 10000.0 / ts_pct * (1.0 + dilution_ratio)) / (1.0 - filtrate_tss_mg_l / 10000.0 / cake_ts_pct)
  END;
