-- question: How much are metres in feet?
-- unit: ft
-- formula: x / 0.3048
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO m_to_ft(x) AS
  x / 0.3048;
