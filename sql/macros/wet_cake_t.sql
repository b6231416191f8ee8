-- question: How much wet cake leaves?
-- unit: t
-- formula: dry solids x capture / cake TS
-- source: textbook formula, from memory
-- known limits: none
CREATE OR REPLACE MACRO wet_cake_t(dry_solids_t, capture_pct, cake_ts_pct) AS
  dry_solids_t * capture_pct / nullif(cake_ts_pct, 0);
