-- question: What is a flow in US gallons an hour?
-- unit: US gal/h
-- formula: 1 gph = 0.003785411784 m3/h
-- source: unit definition (exact)
-- known limits: not the imperial gallon
-- example: m3_h_to_gph(0.03785411784) = 10
CREATE OR REPLACE MACRO m3_h_to_gph(m3_h) AS
    m3_h / 3.785411784e-3;
