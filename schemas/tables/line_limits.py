"""Limits of each line that pump, start-up and quality figures need, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="line_limits",
    description="Limits and expectations of each line as the plant file gives them now.",
    grain="plant and line",
    key=("plant", "line"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("pump", "text", "-", "feed pump of the line", nullable=False),
        Column("suction_minimum_kpa", "double", "kPa", "suction pressure below which the pump counts as starved; null: not judged"),
        Column("cake_at_least_pct", "double", "%", "lower end of the cake band, from the targets; null: no band"),
        Column("data_layouts", "int", "-", "layouts of data exports, each expected to bring every operating day", nullable=False, ge=0),
    ),
)
