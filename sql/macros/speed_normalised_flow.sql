-- question: What would the flow be at the reference speed?
-- unit: unit of q
-- formula: Q* = Q Nref / N
-- source: affinity laws, trade textbooks [from memory]
-- known limits: rotodynamic pumps only; trust it for N within 60-110 % of Nref [common practice]; null when the speed is not above 0
-- example: speed_normalised_flow(400, 1000, 1180) = 472
CREATE OR REPLACE MACRO speed_normalised_flow(q, n, n_ref) AS
    CASE WHEN n > 0 THEN q * n_ref / n END;
