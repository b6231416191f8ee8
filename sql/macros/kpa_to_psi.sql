-- question: How much are kPa in psi?
-- unit: psi
-- formula: x / 6.894757293168361
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO kpa_to_psi(x) AS
  x / 6.894757293168361;
