"""Operating days whose KPIs, flags or publication are behind."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="pending_days",
    description="Work list that survives a kill: days whose KPIs, flags or publication are behind the minutes.",
    grain="stage and operating day",
    key=("stage", "operating_day"),
    step="check",
    published=False,
    columns=(
        Column("stage", "text", "-", "compute, watch or publish", nullable=False, isin=("compute", "watch", "publish")),
        Column("operating_day", "date", "-", "operating day", nullable=False),
    ),
)
