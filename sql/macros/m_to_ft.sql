-- question: What is a length or head in feet?
-- unit: ft
-- formula: 1 ft = 0.3048 m
-- source: unit definition (exact)
-- known limits: none
-- example: m_to_ft(30.48) = 100
CREATE OR REPLACE MACRO m_to_ft(m) AS
    m / 0.3048e0;
