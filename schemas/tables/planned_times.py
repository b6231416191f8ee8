"""Planned running times of each line by weekday, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="planned_times",
    description="When each line is planned to run, in plant time; no rows for a line whose plant file gives no planned times.",
    grain="plant, line, weekday and start",
    key=("plant", "line", "iso_weekday", "from_min"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("iso_weekday", "int", "-", "ISO weekday of the plant's calendar (1 Monday)", nullable=False, ge=1, le=7),
        Column("from_min", "int", "min", "first planned minute of the day, after local midnight", nullable=False, ge=0, le=1439),
        Column("to_min", "int", "min", "end of the planned minutes (exclusive)", nullable=False, ge=1, le=1440),
    ),
)
