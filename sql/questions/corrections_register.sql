-- question: Which corrections are in the register, and does each still hold?
-- explains: contradicted = the raw value is no longer what the entry expects; raw values stay in corrections_applied
-- param plant text = : plant id; empty for all
SELECT plant, correction_id, subject, action, given, expected, state, matched, contradicted, found, who, entered_utc, reason
FROM corrections WHERE $plant IS NULL OR plant = $plant
ORDER BY plant, place;
