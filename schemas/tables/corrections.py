"""The corrections register of the plant file, and what each entry does to the data seen so far."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.tables.corrections_applied import DECIDERS

STATES: tuple[str, ...] = ("applied", "contradicted", "changes nothing", "matches nothing", "waiting for data")
TABLE = Table(
    name="corrections",
    description="Entries of the corrections register as they stand: how much each matches, and whether what it expects still holds.",
    grain="plant and correction",
    key=("plant", "correction_id"),
    step="check",
    source="this project",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("correction_id", "text", "-", "id of the entry", nullable=False),
        Column(
            "place",
            "int",
            "-",
            "place in the plant file, from 1; of two entries that match the same value the later one counts",
            nullable=False,
            ge=1,
        ),
        Column("subject", "text", "-", "tag, or line, point and analyte", nullable=False),
        Column("from_utc", "instant", "-", "first time it can match", nullable=False),
        Column("to_utc", "instant", "-", "end of the time it can match, not included", nullable=False),
        Column("action", "text", "-", "drop, override, scale or flag", nullable=False, isin=("drop", "override", "scale", "flag")),
        Column("given", "text", "-", "value or factor as written"),
        Column("expected", "text", "-", "what the raw value is expected to be, as written"),
        Column("reason", "text", "-", "why", nullable=False),
        Column("who", "text", "-", "by which role", nullable=False, isin=DECIDERS),
        Column("entered_utc", "instant", "-", "when it was entered", nullable=False),
        Column(
            "state",
            "text",
            "-",
            "applied, contradicted, changes nothing (others count for all it matches), matches nothing, or waiting for data",
            nullable=False,
            isin=STATES,
        ),
        Column("matched", "bigint", "value", "values for which it counts", nullable=False, ge=0),
        Column("contradicted", "bigint", "value", "of them, values that are not what it expects", nullable=False, ge=0),
        Column("found", "text", "-", "the first value that is not what it expects, with its time"),
    ),
)
