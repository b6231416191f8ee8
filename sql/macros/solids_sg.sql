-- question: How heavy are the dry solids, against water?
-- unit: -
-- formula: 1/SGs = fixed/2.5 + volatile/1.0
-- source: trade textbooks [from memory]
-- known limits: 2.5 and 1.0 are the usual textbook values; the two fractions should add up to 1
-- example: solids_sg(0.25, 0.75) = 1.1764705882
CREATE OR REPLACE MACRO solids_sg(fixed_fraction, volatile_fraction) AS
    CASE
        WHEN fixed_fraction >= 0 AND volatile_fraction >= 0 THEN 1e0 / nullif(fixed_fraction / 2.5e0 + volatile_fraction / 1.0e0, 0)
    END;
