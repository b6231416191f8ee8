-- question: Which feed TS is assumed between samples?
-- unit: %
-- formula: m + (TS - m) exp(-age/tau)
-- source: common practice, no source
-- known limits: none
CREATE OR REPLACE MACRO held_ts_pct(ts_pct, median_ts_pct, age_h, tau_h) AS
  median_ts_pct + (ts_pct - median_ts_pct) * exp(-age_h / tau_h);
