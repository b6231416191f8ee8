"""Readings that another version has superseded, and why."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="readings_history",
    description="Readings that lost against another version of the same tag and time; both are kept.",
    grain="plant, tag, time and load",
    key=("plant", "tag", "time_utc", "load_id"),
    step="check",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("tag", "text", "-", "the plant's name of the signal", nullable=False),
        Column("time_utc", "instant", "-", "time of the reading; for interval data the start of the interval", nullable=False),
        Column("value", "double", "SI unit of the role", "value in the internal unit; 0 or 1 for states; null when bad"),
        Column("quality", "code", "-", "0 good, 1 uncertain, 2 bad (OPC UA severities)", nullable=False, ge=0, le=2),
        Column("load_id", "text", "-", "load it came with", nullable=False),
        Column("superseded_by", "text", "-", "load whose reading stands now", nullable=False),
        Column(
            "superseded_reason", "text", "-", "better quality, or received later", nullable=False, isin=("better quality", "received later")
        ),
    ),
)
