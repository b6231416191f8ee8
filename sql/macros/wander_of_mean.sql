-- question: Which share of the variance of something that wanders is left in its mean over some hours?
-- unit: -
-- formula: F = 2 (tau/T)^2 (T/tau - 1 + exp(-T/tau)): mean over T of a first-order autoregressive process with time constant tau
-- source: textbook integral of the exponential correlation function [from memory]
-- known limits: 1 at no time; below T/tau = 0.001 by its series, which the difference there would round away; 0 for a tau of 0
-- example: wander_of_mean(3.3333333333333335, 36) = 0.9698372
CREATE OR REPLACE MACRO wander_of_mean(hours, tau_h) AS
    CASE
        WHEN hours IS NULL OR tau_h IS NULL THEN NULL
        WHEN hours <= 0 THEN 1e0
        WHEN tau_h <= 0 THEN 0e0
        WHEN hours / tau_h < 0.001e0 THEN 1 - hours / tau_h / 3
        ELSE 2 * pow(tau_h / hours, 2) * (hours / tau_h - 1 + exp(-hours / tau_h))
    END;
