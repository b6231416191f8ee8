-- question: What is a minute's value, where enough of the minute is known?
-- unit: that of the value
-- formula: the value where is_covered(coverage), else null
-- source: rule of this project
-- known limits: null where the line has no such signal
-- example: covered(7, 0.5) = 7
CREATE OR REPLACE MACRO covered(value, coverage) AS CASE WHEN is_covered(coverage) THEN value END;
