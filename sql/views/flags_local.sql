-- question: Which intervals are worth a look, in plant time?
-- unit: as flags
-- grain: as flags
-- formula: start and end in the plant's time zone
-- source: IANA time zones
-- known limits: none
CREATE OR REPLACE VIEW flags_local AS
SELECT timezone(s.time_zone, f.start_utc) AS start_local, timezone(s.time_zone, f.end_utc) AS end_local, f.*
FROM flags f JOIN line_settings s ON s.plant = f.plant AND s.line = f.line;
