"""The intervals a plant calls its baseline, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="baseline_periods",
    description="Intervals of operating days that count as the baseline of a line, from the plant file.",
    grain="plant, line and interval",
    key=("plant", "line", "first_day"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("first_day", "date", "-", "first operating day", nullable=False),
        Column("last_day", "date", "-", "last operating day", nullable=False),
    ),
)
