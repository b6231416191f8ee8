-- question: What share of the solids fed leaves with the cake, from weighed cake and metered feed?
-- unit: % of dry solids fed
-- formula: R = 100 (cake mass x cake TS) / (feed mass x feed TS)
-- source: Spellman and Whiting, Mathematics and Statistics for the Environment, eq. 24.158
-- known limits: both masses over one period and in one unit; null above 100 %, which no separation can reach: units or periods disagree
-- example: capture_mass_pct(600, 25, 3400, 5.1) = 86.50519
CREATE OR REPLACE MACRO capture_mass_pct(cake_wet_t, cake_ts_pct, feed_wet_t, feed_ts_pct) AS
    CASE
        WHEN cake_wet_t >= 0 AND cake_ts_pct >= 0 AND feed_wet_t > 0 AND feed_ts_pct > 0
            AND cake_wet_t * cake_ts_pct <= feed_wet_t * feed_ts_pct
        THEN 100e0 * cake_wet_t * cake_ts_pct / (feed_wet_t * feed_ts_pct)
    END;
