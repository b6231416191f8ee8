-- question: What is the ratio of two totals?
-- unit: unit of num / unit of den
-- formula: num / den; null when den is null or 0
-- source: rule of this project: a zero denominator gives null
-- known limits: a negative denominator is divided by as it stands
-- example: ratio_or_null(6, 3) = 2
CREATE OR REPLACE MACRO ratio_or_null(num, den) AS
    num / nullif(den, 0);
