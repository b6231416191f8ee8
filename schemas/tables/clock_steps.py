"""Files whose rows went back in time."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="clock_steps",
    description="Files in which the time of a tag went back by more than a second from one row to the next: a clock that was set, or late rows.",
    grain="plant and load with such steps",
    key=("plant", "load_id"),
    step="check",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("load_id", "text", "-", "first 16 hex digits of the SHA-256 of the file's bytes", nullable=False),
        Column("first_step_utc", "instant", "-", "time of the row before the first step, in order of the file", nullable=False),
        Column("step_count", "int", "-", "distinct times at which rows went back", nullable=False, ge=1),
        Column("largest_step_s", "double", "s", "by how much the largest step went back", nullable=False, ge=1),
    ),
)
