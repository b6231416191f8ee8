"""Which operating days a load speaks of; data_version and restatements come from it."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="load_days",
    description="Operating days that the rows of a load fall on, whether kept or known already.",
    grain="plant, load and operating day",
    key=("plant", "load_id", "operating_day"),
    step="check",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("load_id", "text", "-", "load", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
    ),
)
