"""What the signals themselves were like on each day."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.roles import ROLES

TABLE = Table(
    name="signal_marks",
    description="Character of each signal on each operating day: frozen, clipped, set-point-like, resampled, off at zero, late.",
    grain="plant, line, operating day and role",
    key=("plant", "line", "operating_day", "role"),
    step="watch",
    parquet_by="operating_day",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("role", "text", "-", "role", nullable=False, isin=tuple(ROLES)),
        Column("frozen_minutes", "int", "min", "minutes under a flag flatline", nullable=False, ge=0),
        Column("clipped_minutes", "int", "min", "minutes at or above 99.5 % of the transmitter span", nullable=False, ge=0),
        Column("is_setpoint_like", "bool", "-", "did not vary at all while processing, though read each minute and linked signals moved", nullable=False),
        Column("is_resampled", "bool", "-", "held values of a log of changes, written on a fixed grid as if measured", nullable=False),
        Column("repeat_share", "double", "-", "share of processing minutes whose value repeats the one before; null below 120 minutes", ge=0, le=1),
        Column("zero_offset_m3_h", "double", "m3/h", "median of a flow when stopped for more than 30 minutes; null without such minutes"),
        Column("zero_offset_share", "double", "-", "the same as a share of the transmitter span"),
        Column("negative_minutes", "int", "min", "running minutes in which a flow was below zero", nullable=False, ge=0),
        Column("negative_m3", "double", "m3", "volume below zero in those minutes, which totals count as zero; null for other roles", ge=0),
        Column("run_flow_lag_s", "double", "s", "lag of the flow's edges behind those of the run bit (role pump_run); null when they cannot be matched"),
        Column("stuck_minutes", "int", "min", "minutes in which the run bit said what flow, speed and power deny (role pump_run)", nullable=False, ge=0),
        Column("register_ratio", "double", "-", "increments of a register over the integral of its meter, running minutes with both known; null below 120 of them"),
        Column("data_version", "text", "-", "hash of the loads and the plant file behind the row", nullable=False),
    ),
)  # fmt: skip
