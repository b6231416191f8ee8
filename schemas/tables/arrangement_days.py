"""Which arrangement stood on each line on each operating day, and how much of the day's processing it had."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="arrangement_days",
    description="Arrangements that stood on each line on each operating day; a day without a row has none declared.",
    grain="plant, line, operating day and arrangement",
    key=("plant", "line", "operating_day", "arrangement"),
    step="compute",
    source="plant file and running states",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("arrangement", "text", "-", "name of the arrangement", nullable=False),
        Column("processing_minutes", "int", "min", "processing minutes of the day with this arrangement", nullable=False, ge=0),
        Column("processing_share", "double", "-", "their share of the line's processing minutes of the day; null: no processing", ge=0, le=1),
        Column("transition_minutes", "int", "min", "of processing_minutes, those within the transition after a change", nullable=False, ge=0),
        Column("is_in_transition", "bool", "-", "all its processing minutes (without any: all its minutes) lie in the transition", nullable=False),
        Column("is_mixed", "bool", "-", "the day has processing minutes of another arrangement too, or of none declared", nullable=False),
        Column("data_version", "text", "-", "hash of the inputs of the operating day", nullable=False),
    ),
)  # fmt: skip
