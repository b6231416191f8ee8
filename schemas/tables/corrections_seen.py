"""How far the corrections have been brought to bear, so that the next run looks at what came since only."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="corrections_seen",
    description="The plant file, decision and loads up to which corrections have been laid over the readings.",
    grain="plant",
    key=("plant",),
    step="check",
    source="this project",
    published=False,
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("register", "text", "-", "digest of what the plant file says", nullable=False),
        Column("decision", "text", "-", "id of the last decision; empty without any", nullable=False),
        Column("received_seq", "int", "-", "last load looked at, by order of receipt", nullable=False, ge=0),
        Column("loads_seen", "bigint", "load", "loads up to it", nullable=False, ge=0),
    ),
)
