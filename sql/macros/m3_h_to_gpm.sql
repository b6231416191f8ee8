-- question: What is a flow in US gallons a minute?
-- unit: US gal/min
-- formula: 1 gpm = 60 x 0.003785411784 m3/h
-- source: unit definition (exact)
-- known limits: not the imperial gallon
-- example: m3_h_to_gpm(90.849882816) = 400
CREATE OR REPLACE MACRO m3_h_to_gpm(m3_h) AS
    m3_h / (60 * 3.785411784e-3);
