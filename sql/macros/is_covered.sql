-- question: Is enough of a minute known for its value to count?
-- unit: true or false; null without coverage
-- formula: at least half of the minute is known
-- source: rule of this project; pipelines/plant/limits.py has the same share for the other steps
-- known limits: coverage null means that the line has no such signal
-- example: is_covered(1) = true
CREATE OR REPLACE MACRO is_covered(coverage) AS coverage >= 0.5;
