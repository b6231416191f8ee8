"""Which feed pump was in service on each line and when, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.vocabulary import PUMP_KINDS

TABLE = Table(
    name="pump_spans",
    description="The feed pump in service on each line at each time: that of the arrangement, else the line's own; spans follow each other.",
    grain="plant, line and effective date",
    key=("plant", "line", "from_utc"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("pump", "text", "-", "pump id", nullable=False),
        Column("from_utc", "instant", "-", "in service from; long ago when always", nullable=False),
        Column("to_utc", "instant", "-", "in service until (exclusive); far future when open", nullable=False),
        Column("pump_kind", "text", "-", "rotodynamic or displacement", nullable=False, isin=PUMP_KINDS),
        Column("pump_elevation_m", "double", "m", "height of the pump's discharge gauge above its suction gauge", nullable=False),
        Column("suction_pipe_m", "double", "m", "inner diameter at the suction gauge; null when not given"),
        Column("discharge_pipe_m", "double", "m", "inner diameter at the discharge gauge; null when not given"),
    ),
)
