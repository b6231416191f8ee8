-- question: What do the minutes say, with plant time beside UTC?
-- unit: as minutes
-- grain: as minutes
-- formula: minute_utc in the plant's time zone
-- source: IANA time zones
-- known limits: the repeated hour in autumn shows the same local time twice; minute_utc tells them apart
CREATE OR REPLACE VIEW minutes_local AS
SELECT timezone(s.time_zone, m.minute_utc) AS minute_local, m.*
FROM minutes m JOIN line_settings s ON s.plant = m.plant AND s.line = m.line;
