-- question: Which specific gravity does the sludge have?
-- unit: -
-- formula: 1/S = TS/S_s + (1 - TS)
-- source: textbook formula, from memory
-- known limits: none
CREATE OR REPLACE MACRO sludge_sg(ts_fraction, dry_sg) AS
  1.0 / (ts_fraction / dry_sg + (1.0 - ts_fraction));
