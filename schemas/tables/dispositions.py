"""What people decided about set-aside rows and flags: the whole history, in order."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.tables.corrections_applied import DECIDERS
from schemas.vocabulary import DISPOSITIONS, FLAG_DISPOSITIONS

TABLE = Table(
    name="dispositions",
    description="Decisions on set-aside rows and flags, never changed or deleted; the last one on a row or flag stands.",
    grain="plant and decision",
    key=("plant", "disposition_id"),
    step="check",
    source="this project",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("disposition_id", "text", "-", "12 hex digits over the decision and the one before it", nullable=False),
        Column("place", "int", "-", "order of the decisions, from 1", nullable=False, ge=1),
        Column("decided_utc", "instant", "-", "when it was decided", nullable=False),
        Column("kind", "text", "-", "row (set aside), or flag", nullable=False, isin=("row", "flag")),
        Column("load_id", "text", "-", "load of the set-aside row"),
        Column("line_no", "bigint", "-", "line of the set-aside row in its file"),
        Column("subject", "text", "-", "tag, column or analyte concerned; null: every value set aside of the row"),
        Column("line", "text", "-", "line id of the flag"),
        Column("flag_id", "text", "-", "flag"),
        Column("disposition", "text", "-", "what was decided", nullable=False, isin=(*DISPOSITIONS, *FLAG_DISPOSITIONS)),
        Column("given", "text", "-", "the value that stands instead, with its unit, as written"),
        Column("who", "text", "-", "by which role", nullable=False, isin=DECIDERS),
        Column("note", "text", "-", "why"),
        Column("owner", "text", "-", "role that sees to the flag", isin=DECIDERS),
        Column("due_day", "date", "-", "plant-local day by which the owner has seen to it"),
    ),
)
