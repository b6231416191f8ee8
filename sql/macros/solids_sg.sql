-- question: Which specific gravity do the dry solids have?
-- unit: -
-- formula: 1/S = f/S_f + (1 - f)/S_v
-- source: textbook formula, from memory
-- known limits: none
CREATE OR REPLACE MACRO solids_sg(fixed_fraction, fixed_sg, volatile_sg) AS
  1.0 / (fixed_fraction / fixed_sg + (1.0 - fixed_fraction) / volatile_sg);
