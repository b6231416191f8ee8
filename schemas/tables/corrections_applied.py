"""Readings and lab results that a correction or a decision touches: the raw value beside the one that counts."""

from __future__ import annotations

from schemas.model import Column, Table

# Who may correct or decide: roles, never persons (a closed list, so that no name can be written).
DECIDERS: tuple[str, ...] = (
    "operator", "shift lead", "lab", "instrument technician", "process engineer", "applications engineer", "data engineer", "plant manager",
)  # fmt: skip
ACTIONS: tuple[str, ...] = ("drop", "override", "scale", "flag", "accept as is", "corrected to")
TABLE = Table(
    name="corrections_applied",
    description="Every reading and lab result that a correction of the plant file or a decision on a set-aside row touches, raw value beside the one that counts.",
    grain="plant and reading, or plant, sample and analyte",
    key=("plant", "kind", "subject", "analyte", "time_utc"),
    step="check",
    source="this project",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("kind", "text", "-", "reading, or lab result", nullable=False, isin=("reading", "lab result")),
        Column("subject", "text", "-", "tag of the reading, or sample id", nullable=False),
        Column("analyte", "text", "-", "analyte of a lab result; - for readings", nullable=False),
        Column("time_utc", "instant", "-", "time of the reading, or earliest time of the sample", nullable=False),
        Column("correction_id", "text", "-", "id of the correction in the plant file, or of the decision", nullable=False),
        Column("source", "text", "-", "plant file, or disposition", nullable=False, isin=("plant file", "disposition")),
        Column("action", "text", "-", "what it does", nullable=False, isin=ACTIONS),
        Column(
            "is_applied",
            "bool",
            "-",
            "false when the raw value is not what the correction expects: the raw value counts, marked uncertain",
            nullable=False,
        ),
        Column("line", "text", "-", "line id; null when the tag stands for none at the time"),
        Column("role", "text", "-", "role of the tag at the time; null for lab results"),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("load_id", "text", "-", "load the raw value came with", nullable=False),
        Column("line_no", "bigint", "-", "line in the file, where it is kept: set-aside values and lab results"),
        Column("raw_value", "double", "by role or analyte", "value as it came, in the internal unit; null when it was no number"),
        Column("raw_quality", "code", "-", "quality as it came: 0 good, 1 uncertain, 2 bad; null for lab results"),
        Column("raw_text", "text", "-", "the value as it stands in the file, where it was set aside"),
        Column("corrected_value", "double", "by role or analyte", "value that counts; null when dropped"),
        Column("corrected_quality", "code", "-", "quality that counts: 1 uncertain, 2 bad; null for lab results"),
        Column("unit", "text", "-", "unit of both values", nullable=False),
        Column("reason", "text", "-", "why, as the entry or the note says"),
        Column("who", "text", "-", "by which role", nullable=False, isin=DECIDERS),
        Column("entered_utc", "instant", "-", "when it was entered or decided", nullable=False),
    ),
)
