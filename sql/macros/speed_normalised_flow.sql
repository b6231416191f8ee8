-- question: Which flow would a rotodynamic pump give at the reference speed?
-- unit: unit of q
-- formula: Q n_ref / n
-- source: affinity laws, textbook, from memory
-- known limits: rotodynamic pumps only
CREATE OR REPLACE MACRO speed_normalised_flow(q, n, n_ref) AS
  q * n_ref / nullif(n, 0);
