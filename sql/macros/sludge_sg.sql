-- question: How heavy is sludge of a solids content, against water?
-- unit: -
-- formula: 1/SG = TS/SGs + (1 - TS)/1.0, TS as a fraction by mass
-- source: trade textbooks [from memory]
-- known limits: no gas in the sludge; null outside TS 0-1
-- example: sludge_sg(0.1, 1.25) = 1.0204081633
CREATE OR REPLACE MACRO sludge_sg(ts_fraction, solids_sg) AS
    CASE
        WHEN ts_fraction BETWEEN 0 AND 1 AND solids_sg > 0 THEN 1e0 / (ts_fraction / solids_sg + 1 - ts_fraction)
    END;
