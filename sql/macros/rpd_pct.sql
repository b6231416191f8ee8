-- question: How far apart are two duplicates?
-- unit: %
-- formula: 100 |a - b| / mean
-- source: common practice of laboratories
-- known limits: null when both are 0; means little near the detection limit
-- example: rpd_pct(105, 95) = 10
CREATE OR REPLACE MACRO rpd_pct(a, b) AS
    100e0 * abs(a - b) / nullif(abs(a + b) / 2e0, 0);
