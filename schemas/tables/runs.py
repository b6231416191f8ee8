"""Running intervals of the feed pump of each line."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="runs",
    description="Uninterrupted intervals in which the feed pump ran.",
    grain="plant, line and running interval",
    key=("plant", "line", "start_utc"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("start_utc", "instant", "-", "first minute of the run", nullable=False),
        Column("end_utc", "instant", "-", "end of the last minute of the run", nullable=False),
        Column("operating_day", "date", "-", "operating day of the start", nullable=False),
        Column("run_h", "double", "h", "length", nullable=False, ge=0),
        Column("processing_h", "double", "h", "of that in state processing", nullable=False, ge=0),
        Column("is_open", "bool", "-", "true when the data end before the run does", nullable=False),
        Column("start_known", "bool", "-", "false when the minute before the run is unknown", nullable=False),
    ),
)
