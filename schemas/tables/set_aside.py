"""Rows refused, kept whole with file, line and one primary reason."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.vocabulary import DISPOSITIONS, REASONS

TABLE = Table(
    name="set_aside",
    description="Rows that could not be used, kept whole with one primary reason; never deleted.",
    grain="plant, load and line number",
    key=("plant", "load_id", "line_no"),
    step="check",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("load_id", "text", "-", "load", nullable=False),
        Column(
            "line_no",
            "bigint",
            "-",
            "physical line in the file, or row of the sheet, from 1; 0 for the file as a whole",
            nullable=False,
            ge=0,
        ),
        Column("reason", "text", "-", "primary reason, from the closed list", nullable=False, isin=REASONS),
        Column("detail", "text", "-", "what exactly was wrong: value, limit, word"),
        Column("is_partial", "bool", "-", "true when other values of the same row are fit for use", nullable=False),
        Column("value_count", "int", "value", "how many values of the row are set aside", nullable=False, ge=0),
        Column("tags", "text", "-", "tags or analytes concerned, comma separated"),
        Column("first_utc", "instant", "-", "time of the row, when it could be read"),
        Column("raw_text", "text", "-", "the row as it stands in the file (cut at 4,000 characters)"),
        Column("rule_version", "int", "-", "version of the row rules that decided", nullable=False, ge=1),
        Column("disposition", "text", "-", "what was decided later; null while open", isin=DISPOSITIONS),
        Column("disposition_role", "text", "-", "by which role"),
        Column("disposition_note", "text", "-", "why"),
        Column("disposition_utc", "instant", "-", "when"),
    ),
)
