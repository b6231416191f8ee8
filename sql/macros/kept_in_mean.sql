-- question: How much of what one moment told is still true of the mean over a span of hours from it?
-- unit: -
-- formula: mean of exp(-|t|/tau) for t from from_h to to_h, hours after the moment (negative: before it)
-- source: textbook integral of the exponential correlation function [from memory]
-- known limits: a span without length gives the value at its start; 0 for a tau of 0
-- example: kept_in_mean(0, 36, 36) = 0.6321205588285577
CREATE OR REPLACE MACRO kept_in_mean(from_h, to_h, tau_h) AS
    CASE
        WHEN from_h IS NULL OR to_h IS NULL OR tau_h IS NULL THEN NULL
        WHEN tau_h <= 0 THEN 0e0
        WHEN to_h - from_h <= 0 THEN exp(-abs(from_h) / tau_h)
        ELSE tau_h / (to_h - from_h) * (sign(to_h) * (1 - exp(-abs(to_h) / tau_h)) - sign(from_h) * (1 - exp(-abs(from_h) / tau_h)))
    END;
