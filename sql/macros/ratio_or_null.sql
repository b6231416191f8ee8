-- question: What is numerator over denominator, and nothing when there is no denominator?
-- unit: unit of num per unit of den
-- formula: num / den
-- source: arithmetic
-- known limits: none
CREATE OR REPLACE MACRO ratio_or_null(num, den) AS
  CASE WHEN den IS NULL OR den = 0 THEN NULL ELSE num / den END;
