-- question: What is a pressure in pounds per square inch?
-- unit: psi
-- formula: 1 psi = 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)2
-- source: unit definition (exact)
-- known limits: gauge or absolute stays what it was
-- example: kpa_to_psi(206.842719) = 30
CREATE OR REPLACE MACRO kpa_to_psi(kpa) AS
    kpa * 1000e0 * 0.0254e0 * 0.0254e0 / (0.45359237e0 * 9.80665e0);
