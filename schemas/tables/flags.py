"""Intervals worth a look."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.tables.corrections_applied import DECIDERS
from schemas.vocabulary import FLAG_DISPOSITIONS, SEVERITIES

TABLE = Table(
    name="flags",
    description="Intervals worth a look, with severity, evidence and disposition; advisory only, no alarms.",
    grain="plant, line and flag",
    key=("plant", "line", "flag_id"),
    step="watch",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("flag_id", "text", "-", "detector, line and start made into one", nullable=False),
        Column(
            "cause_id", "text", "-", "flag_id of the first flag of the same cause: repeats and consequences hang under it", nullable=False
        ),
        Column("detector", "text", "-", "name of the rule, as in detectors", nullable=False),
        Column("role", "text", "-", "role concerned; null for the line as a whole"),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("start_utc", "instant", "-", "first minute", nullable=False),
        Column("end_utc", "instant", "-", "end of the last minute", nullable=False),
        Column("minutes", "int", "min", "minutes in which the rule held", nullable=False, ge=1),
        Column("severity", "text", "-", "note, check this week, or check today", nullable=False, isin=SEVERITIES),
        Column("sentence", "text", "-", "what was seen, in one sentence", nullable=False),
        Column("suggestion", "text", "-", "what to look at first", nullable=False),
        Column("evidence", "text", "-", "the numbers behind it, as JSON", nullable=False),
        Column("disposition", "text", "-", "what it turned out to be; null while open", isin=FLAG_DISPOSITIONS),
        Column("disposition_role", "text", "-", "by which role"),
        Column("disposition_note", "text", "-", "why"),
        Column("disposition_utc", "instant", "-", "when"),
        Column("owner", "text", "-", "role that sees to it; null while nobody was named", isin=DECIDERS),
        Column("due_day", "date", "-", "plant-local day by which the owner has seen to it"),
        Column("data_version", "text", "-", "hash of the loads and the plant file behind the row", nullable=False),
    ),
)
