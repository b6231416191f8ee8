"""The aligned record: one row a line and minute, one column a role."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.roles import ROLES
from schemas.vocabulary import RUNNING_STATES

_MEAN = {"analog": "time-weighted mean over the covered part of the minute", "state": "share of the covered part of the minute in which it was on",
         "totaliser": "increment within the minute"}  # fmt: skip
_ROLE_COLUMNS = tuple(
    column
    for role in ROLES.values()
    for column in (
        Column(role.column, "double", "-" if role.kind == "state" else role.unit, f"{role.description}; {_MEAN[role.kind]}"),
        Column(
            role.coverage,
            "double",
            "-",
            f"share of the minute for which {role.name} is known and not bad; null: the line has no such signal",
            ge=0,
            le=1,
        ),
    )
)
TABLE = Table(
    name="minutes",
    description="Irregular readings laid on whole minutes by time weighting, with coverage and running state.",
    grain="plant, line and minute",
    key=("plant", "line", "minute_utc"),
    step="align",
    source="time average after OPC UA Part 13; running states common practice, no source",
    parquet_by="minute_utc",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("minute_utc", "instant", "-", "start of the minute", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("shift", "text", "-", "shift by the plant file's roster; null outside every shift"),
        Column("state", "text", "-", "running state", nullable=False, isin=RUNNING_STATES),
        Column(
            "is_pump_running", "bool", "-", "the feed pump runs: by its run bit, else by most of speed, power and flow; null: not known"
        ),
        Column("is_uncertain", "bool", "-", "true when any reading used in the minute was of uncertain quality", nullable=False),
        *_ROLE_COLUMNS,
    ),
)
