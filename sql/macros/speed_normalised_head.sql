-- question: What would the head be at the reference speed?
-- unit: unit of h
-- formula: H* = H (Nref / N)2
-- source: affinity laws, trade textbooks [from memory]
-- known limits: rotodynamic pumps only; trust it for N within 60-110 % of Nref [common practice]; null when the speed is not above 0
-- example: speed_normalised_head(100, 1000, 1200) = 144
CREATE OR REPLACE MACRO speed_normalised_head(h, n, n_ref) AS
    CASE WHEN n > 0 THEN h * pow(n_ref / (n * 1e0), 2) END;
