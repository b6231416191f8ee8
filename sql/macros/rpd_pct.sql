-- question: How far are two duplicates apart?
-- unit: %
-- formula: 200 |a - b| / (a + b)
-- source: textbook formula, from memory
-- known limits: none
CREATE OR REPLACE MACRO rpd_pct(a, b) AS
  200.0 * abs(a - b) / nullif(a + b, 0);
