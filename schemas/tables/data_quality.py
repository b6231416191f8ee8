"""What share of the data each role and day had."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.roles import ROLES

TABLE = Table(
    name="data_quality",
    description="Coverage and gaps of each role on each operating day.",
    grain="plant, line, operating day and role",
    key=("plant", "line", "operating_day", "role"),
    step="compute",
    parquet_by="operating_day",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("role", "text", "-", "role", nullable=False, isin=tuple(ROLES)),
        Column("minutes_seen", "int", "min", "minutes of the day that exist", nullable=False, ge=0),
        Column("covered_share", "double", "-", "mean coverage over those minutes", ge=0, le=1),
        Column(
            "processing_minutes",
            "int",
            "min",
            "minutes in state processing, and those in which the pump ran and a missing meter hides the state",
            nullable=False,
            ge=0,
        ),
        Column("missing_processing_minutes", "int", "min", "of these, minutes covered for less than half", nullable=False, ge=0),
        Column("longest_gap_min", "int", "min", "longest run of minutes covered for less than half, within the day", nullable=False, ge=0),
        Column("corrected_readings", "int", "reading", "readings of the day that a correction or a decision touches", nullable=False, ge=0),
        Column("data_version", "text", "-", "hash of the loads and the plant file behind the row", nullable=False),
    ),
)
