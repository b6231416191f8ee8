"""Hours whose minutes are behind the readings."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="pending_hours",
    description="Work list that survives a kill: UTC hours to be aligned again.",
    grain="hour",
    key=("hour_utc",),
    step="check",
    published=False,
    columns=(Column("hour_utc", "instant", "-", "start of the UTC hour", nullable=False),),
)
