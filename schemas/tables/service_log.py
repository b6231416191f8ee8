"""The service log of the feed pumps, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.vocabulary import SERVICE_KINDS

TABLE = Table(
    name="service_log",
    description="What was done to each feed pump and when; run hours since service and since overhaul count from here, never from a totaliser.",
    grain="plant, line, pump and entry",
    key=("plant", "line", "pump", "at_utc", "kind"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line the pump feeds, or feeds at times", nullable=False),
        Column("pump", "text", "-", "pump id", nullable=False),
        Column("at_utc", "instant", "-", "when the pump was back in service", nullable=False),
        Column("operating_day", "date", "-", "operating day of that instant", nullable=False),
        Column("kind", "text", "-", "what was done", nullable=False, isin=SERVICE_KINDS),
        Column("resets_overhaul", "bool", "-", "true for an overhaul or a new pump", nullable=False),
        Column(
            "ends_reference", "bool", "-", "true when parts that make the pump curve were changed: the old reference ends", nullable=False
        ),
        Column("note", "text", "-", "note of the plant"),
    ),
)
