"""Steps of dose ladders as logged in the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="ladder_steps",
    description="Steps of dose ladders: spans in which the dose was held, as logged in the plant file.",
    grain="plant, line and step",
    key=("plant", "line", "start_utc"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("ladder", "text", "-", "name of the ladder", nullable=False),
        Column("step_no", "int", "-", "number of the step in its ladder, from 1", nullable=False, ge=1),
        Column("start_utc", "instant", "-", "start of the step", nullable=False),
        Column("end_utc", "instant", "-", "end of the step", nullable=False),
        Column("first_day", "date", "-", "operating day of the start", nullable=False),
        Column("last_day", "date", "-", "operating day of the last minute", nullable=False),
        Column(
            "washout_min",
            "double",
            "min",
            "time after the start that does not count: what was in the line before must leave first",
            nullable=False,
        ),
    ),
)
