-- question: Which head would a rotodynamic pump give at the reference speed?
-- unit: unit of h
-- formula: H (n_ref / n)2
-- source: affinity laws, textbook, from memory
-- known limits: rotodynamic pumps only
CREATE OR REPLACE MACRO speed_normalised_head(h, n, n_ref) AS
  h * pow(n_ref / nullif(n, 0), 2);
