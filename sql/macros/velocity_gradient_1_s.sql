-- question: Which nominal velocity gradient is that?
-- unit: 1/s
-- formula: sqrt(P / (mu V))
-- source: textbook formula, from memory
-- known limits: nominal: viscosity and volume are assumptions and are printed with it; valid only for flocs below the turbulence microscale
CREATE OR REPLACE MACRO velocity_gradient_1_s(power_w, viscosity_mpa_s, volume_m3) AS
  sqrt(power_w / (viscosity_mpa_s / 1000.0 * volume_m3));
