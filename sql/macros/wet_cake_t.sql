-- question: How much wet cake comes of dry solids fed?
-- unit: t
-- formula: cake = dry solids x R / C, R and C in %
-- source: trade textbooks [from memory]
-- known limits: null when cake TS is not above 0; polymer and lime in the cake are not added
-- example: wet_cake_t(11, 95, 22) = 47.5
CREATE OR REPLACE MACRO wet_cake_t(dry_solids_t, capture_pct, cake_ts_pct) AS
    CASE WHEN cake_ts_pct > 0 THEN dry_solids_t * capture_pct / cake_ts_pct END;
