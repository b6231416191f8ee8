-- question: What is a volume in US gallons?
-- unit: US gal
-- formula: 1 US gal = 231 in3 = 0.003785411784 m3
-- source: unit definition (exact)
-- known limits: not the imperial gallon
-- example: m3_to_gal(3.785411784) = 1000
CREATE OR REPLACE MACRO m3_to_gal(m3) AS
    m3 / 3.785411784e-3;
