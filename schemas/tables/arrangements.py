"""Which arrangement stood on each line and when, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="arrangements",
    description="Arrangements (pump, injection point, mixing device) of each line, one row each time one came into service, from the plant file.",
    grain="plant, line and effective date",
    key=("plant", "line", "from_utc"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("arrangement", "text", "-", "name of the arrangement; rows of one name are one arrangement", nullable=False),
        Column("pump", "text", "-", "id of the feed pump in service", nullable=False),
        Column("from_utc", "instant", "-", "in service from", nullable=False),
        Column("to_utc", "instant", "-", "in service until (exclusive); far future when open", nullable=False),
        Column(
            "transition_to_utc",
            "instant",
            "-",
            "until then (exclusive) it belongs to no arm of a comparison; from_utc without a transition",
            nullable=False,
        ),
        Column("note", "text", "-", "note of the plant"),
    ),
)
