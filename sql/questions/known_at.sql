-- question: What was published on a past date, and what stands now?
-- explains: the version of each day known at the end of that date (UTC), beside today's
-- param plant text = : plant id; empty for all
-- param date date = 2026-03-10: as known at the end of this day
SELECT
  a.plant,
  a.line,
  a.operating_day,
  a.version,
  a.dose_active_kg_t AS dose_then_kg_t,
  k.dose_active_kg_t AS dose_now_kg_t,
  a.is_provisional AS was_provisional
FROM kpi_day_as_known_at(($date + 1)::TIMESTAMPTZ) a
LEFT JOIN kpi_day k ON k.plant = a.plant AND k.line = a.line AND k.operating_day = a.operating_day
WHERE $plant IS NULL OR a.plant = $plant
ORDER BY a.plant, a.line, a.operating_day;
