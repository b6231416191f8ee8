"""What the closed words of the project mean, for the manual; a test holds each list complete."""

from __future__ import annotations

from pipelines.base.errors import ExitCode

EXIT_CODES: dict[ExitCode, str] = {
    ExitCode.OK: "The run did its work; nothing needs attention.",
    ExitCode.WARNINGS: "The run did its work; rows or files were set aside, or there is a notice to read.",
    ExitCode.DATA_MISSING: "Data are missing: no store, no published file, or no rows for the period asked for.",
    ExitCode.PLANT_FILE_OR_USAGE: "The plant file or the command cannot be used, or another run holds the plant. Nothing was changed.",
    ExitCode.INTERNAL: "Internal error. The traceback is in a file below `<home>/runs/`.",
}
STATES: dict[str, str] = {
    "stopped": "The pump is not running; wash water and device are off.",
    "idle running": "The pump runs without feeding, or the line is fed without polymer or with the device off.",
    "start-up": "The first minutes of feeding (`startup` of the line).",
    "processing": "Fed, device running, polymer on, start-up over. Doses are of these minutes.",
    "shutdown": "The pump is not running; wash water or the device is still on.",
    "unknown": "Evidence is missing or contradicts itself.",
}
REASONS: dict[str, str] = {
    "file not readable": "The file is damaged, encrypted, or not in the declared encoding. Ask for it again.",
    "unknown layout": "No layout of the plant file fits name and header. Run `flocledger inspect FILE` and add a layout.",
    "unit row disagrees with plant file": "The unit row names another unit than the signal. Find out which is right before you change either.",
    "parse rate too low": "Too few values of the file could be read: usually the wrong decimal sign or delimiter.",
    "several values under one stamp": "Many stamps repeat with different values: a tag or entity column is missing from the layout.",
    "row has too many fields": "More fields than the header has columns: often an unquoted delimiter in a text.",
    "row has too few fields": "Fewer fields than the header has columns.",
    "partial last row": "The last row is cut off. The whole row counts when the file comes again.",
    "time stamp unreadable": "The stamp does not match `time_format`.",
    "local time does not exist": "The stamp lies in the hour skipped in spring. Check the zone of the layout.",
    "ambiguous local time": "The stamp lies in the hour repeated in autumn and the order of rows does not settle it.",
    "time in the future": "The stamp is later than the file's receipt. Check the clock and the zone.",
    "time before data_since": "The stamp is earlier than `plant.data_since`.",
    "unknown tag": "No signal has this tag. Add a signal, or list the column under `ignore_columns`.",
    "scaling not known for date": "The tag has signals, but none in force at this time. Check `since` and `until`.",
    "unknown sample point": "The lab sheet's word for the sample point is not in `[lab]`.",
    "unknown analyte": "The lab sheet's word for the analyte is not in `[lab]`.",
    "unknown shift word": "The sheet's word for the shift is not in `shift_words` and not a shift of the plant.",
    "unknown quality word": "The word is not in `quality_words`.",
    "unknown state word": "The word is in none of `on_words`, `off_words`, `part_words`.",
    "text in number": "A text stands where a number is expected.",
    "transmitter failure level": "The current is below 3.6 or above 21 mA.",
    "value outside physical range": "The value cannot be true at any plant. Check unit and scaling.",
    "value outside transmitter range": "The value lies outside `range` of the signal.",
    "unit missing": "The result has no unit and the plant file names none.",
    "unit implausible": "The value fits another unit better than the one stated, or the unit changed within the file.",
    "qualifier rejects result": "The laboratory rejected the result (R).",
    "duplicate disagreement": "Duplicates differ by more than `duplicate_limit_pct`.",
    "inconsistent sample set": "Feed, cake and filtrate of the round cannot be true together: swapped bottles, moisture for solids.",
}
