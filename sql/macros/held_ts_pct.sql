-- question: What feed TS stands for a time after the last sample?
-- unit: %
-- formula: m + (TS - m) exp(-age / tau): the sample relaxes to the median of the days before
-- source: rule of this project [common practice]; time constant 36 h by default
-- known limits: the caller ends it at the hold limit; age 0 or less gives the sample itself; a tau of 0 gives the median at once
-- example: held_ts_pct(3, 2, 36, 36) = 2.3678794412
CREATE OR REPLACE MACRO held_ts_pct(ts_pct, median_ts_pct, age_h, tau_h) AS
    CASE
        WHEN age_h <= 0 THEN ts_pct
        WHEN tau_h <= 0 THEN median_ts_pct
        ELSE median_ts_pct + (ts_pct - median_ts_pct) * exp(-age_h / tau_h)
    END;
