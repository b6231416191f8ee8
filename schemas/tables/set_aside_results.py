"""Lab results set aside whose sample is known, so that a decision needs no file again."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.tables.lab_results import COLUMNS

_SHARED = tuple(c for c in COLUMNS if c.name not in ("is_used", "unused_reason", "revision", "value"))
TABLE = Table(
    name="set_aside_results",
    description="Lab results set aside whose sample, point and analyte are known, with the number they stand for.",
    grain="plant, load, line number and column or analyte",
    key=("plant", "load_id", "line_no", "subject"),
    step="check",
    source="this project",
    published=False,
    columns=(
        *_SHARED,
        Column("subject", "text", "-", "column of a wide sheet, or analyte as written", nullable=False),
        Column(
            "value", "double", "by analyte: % (ts, strength), % of TS (vs), mg/L (tss)", "the number it stands for; null when it is none"
        ),
        Column("text", "text", "-", "the result as it stands in the sheet"),
        Column("reason", "text", "-", "why it was set aside", nullable=False),
    ),
)
