"""Readings set aside: the number each stood for, so that a decision needs no file again."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="set_aside_values",
    description="Values set aside whose tag and time can be trusted, with the number they stand for.",
    grain="plant, load, line number and tag",
    key=("plant", "load_id", "line_no", "tag"),
    step="check",
    source="this project",
    published=False,
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("load_id", "text", "-", "load", nullable=False),
        Column("line_no", "bigint", "-", "physical line in the file, from 1", nullable=False, ge=1),
        Column("tag", "text", "-", "the plant's name of the signal", nullable=False),
        Column("time_utc", "instant", "-", "time of the reading", nullable=False),
        Column("text", "text", "-", "the value as it stands in the file"),
        Column("value", "double", "SI unit of the role", "the number it stands for; null when it is none"),
        Column("reason", "text", "-", "why it was set aside", nullable=False),
    ),
)
