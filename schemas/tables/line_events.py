"""What was changed at each line and when, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="line_events",
    description="Logged events of each line, from the plant file: comparisons of days do not reach over one.",
    grain="plant, line, operating day and event",
    key=("plant", "line", "operating_day", "what"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "first operating day with it", nullable=False),
        Column("what", "text", "-", "what was changed", nullable=False),
    ),
)
