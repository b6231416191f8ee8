"""How each kind of input is read: records to values, and clean pieces to measurements. What it demands: `plant.input_kinds`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import polars as pl

from pipelines.files.pieces import Written
from pipelines.plant.input_kinds import KindName
from pipelines.plant.model import Layout
from pipelines.receive.shapes import lab, long, wide
from pipelines.receive.shapes.record_fields import Columns
from pipelines.receive.text.dialect import PIECE_BYTES
from pipelines.receive.times.stamps import Times
from pipelines.receive.times.zones import Localiser

WIDE_PIECE_BYTES = 8 * 2**20  # a wide piece becomes one row a cell: a smaller piece for the same memory
Values = tuple[pl.DataFrame, int]  # values of a chunk, and how many records gave none


@dataclass(frozen=True)
class Measurements:
    """How clean pieces become numbers in one pass. `blank_is_null`: nothing may stand where a number does."""

    fields: Callable[[Columns], tuple[list[str], list[str]] | None]  # (text fields, number fields); None: not for these columns
    blank_is_null: bool
    values: Callable[[pl.DataFrame, Columns, Localiser, Times, Written | None], Values]
    texts: Callable[[pl.DataFrame, Columns], pl.DataFrame]


@dataclass(frozen=True)
class Reading:
    """How records of one kind of input become values."""

    values: Callable[[pl.DataFrame, Columns, Localiser], Values]
    measurements: Measurements | None = None
    piece_bytes: int = PIECE_BYTES


_READINGS: dict[KindName, Reading] = {
    "long": Reading(long.values, Measurements(long.measured_fields, False, long.measured, long.texts)),
    "wide": Reading(wide.values, Measurements(wide.measured_fields, True, wide.measured, wide.texts), WIDE_PIECE_BYTES),
    "lab long": Reading(lab.values),
    "lab wide": Reading(lab.values),
}


def reading(layout: Layout) -> Reading:
    """Return how the records of a layout are read."""
    return _READINGS[layout.kind]
