-- question: Does the feed pump run in this minute?
-- unit: true or false; null when it is not known
-- formula: run bit on for half of the minute, when it is covered for half of it; without a run bit the running state
-- source: common practice, no source
-- known limits: coverage null means that the line has no run bit
-- example: is_pump_on(1, 0.5, 'stopped') = true
CREATE OR REPLACE MACRO is_pump_on(coverage, share, state) AS
  CASE WHEN coverage IS NULL THEN is_running(state) WHEN is_covered(coverage) THEN share >= 0.5 END;
