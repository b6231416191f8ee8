-- question: Did the pump run in this minute, while a missing meter hides whether the line was processing?
-- unit: true or false
-- formula: the running state is unknown and the pump is known to run, or all but a run bit that stands off say so
-- source: common practice, no source
-- known limits: some of these minutes may have been start-up or idle running; counting all of them as lost errs on the safe side
-- example: is_lost('unknown', true) = true
CREATE OR REPLACE MACRO is_lost(state, is_pump_running) AS state = 'unknown' AND coalesce(is_pump_running, false);
