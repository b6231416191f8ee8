-- question: Does a running state mean that the feed pump runs?
-- unit: true or false; null when the state is unknown
-- formula: true in idle running, start-up and processing
-- source: running states, common practice, no source
-- known limits: idle running may also be the device alone; a run bit, where there is one, decides (is_pump_on)
-- example: is_running('stopped') = false
CREATE OR REPLACE MACRO is_running(state) AS
  CASE WHEN state <> 'unknown' THEN state IN ('idle running', 'start-up', 'processing') END;
