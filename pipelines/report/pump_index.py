"""The condition index of a pump's week, as pages print it. Pure; `row` is one of pump_condition."""

from __future__ import annotations

from typing import Any

from pipelines.report.numbers import COVERAGE

WIDEST_PUMP = 0.2  # half width of an index, and of its change in a year, that still says something (rule of this project)


def index_of(row: dict[str, Any]) -> float | None:
    """Return head or slip over its reference; None without either."""
    value: float | None = row["wear_index"] if row["wear_index"] is not None else row["slip_index"]
    return value


def half_width(row: dict[str, Any]) -> float:
    """Return the expanded uncertainty (k = 2) of the index: scatter and meters."""
    spread: float = ((row["index_se"] or 0.0) ** 2 + (row["index_u_systematic"] or 0.0) ** 2) ** 0.5
    return COVERAGE * spread
