"""The day total of each line's sludge register: what it counted over an operating day, holes of the data included.

The minutes know what a register counted only where its readings lie close together. A register goes on counting while nothing
is recorded, so its readings at the ends of a day tell the day's volume all the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from pipelines.base import units
from pipelines.plant import limits, registers
from pipelines.plant.calendar import contiguous, micros
from pipelines.plant.model import PlantFile, Signal
from pipelines.store import Store
from pipelines.store.reading_series import NOTHING, Series, of_range
from schemas.vocabulary import BAD

ROLE = "sludge_total"
SCHEMA = {"line": pl.String, "operating_day": pl.Date, "sludge_register_m3": pl.Float64, "sludge_register_reason": pl.String}


@dataclass(frozen=True)
class Counted:
    """The volume a register counted over a day [m3], or why it is not known."""

    m3: float | None
    reason: str | None


def frame(store: Store, plant_file: PlantFile, days: Sequence[date]) -> pl.DataFrame:
    """Return line, operating day, volume [m3] and reason for the lines with a sludge register."""
    rows = [row for span in contiguous(sorted(days)) for row in _rows(store, plant_file, *span)]
    return pl.DataFrame(rows, schema=SCHEMA, orient="row")


def _rows(store: Store, plant_file: PlantFile, first: date, last: date) -> Iterator[tuple[str, date, float | None, str | None]]:
    calendar, days = plant_file.calendar, [first + timedelta(days=k) for k in range((last - first).days + 1)]
    found = {line.id: [s for s in plant_file.signals_of(line.id) if s.role == ROLE] for line in plant_file.lines}
    tags = sorted({s.tag for signals in found.values() for s in signals})
    if not tags:
        return
    ahead = max(limits.LONGEST_REACH, registers.longest_reach(plant_file.signals))
    series = of_range(store, tags, calendar.day_start(first), calendar.day_end(last), ahead)
    for line, signals in found.items():
        most = registers.largest_rate(ROLE, plant_file.signals_of(line)) if signals else None
        for day in days if signals else ():
            begin, end = calendar.day_start(day), calendar.day_end(day)
            whole = [s for s in signals if calendar.since(s.since) <= begin and calendar.until(s.until) >= end]
            counted = (
                of_day(series.get(whole[0].tag, NOTHING), whole[0], most, begin, end)
                if whole
                else Counted(None, "no register for the whole day")
            )
            yield line, day, counted.m3, counted.reason


def of_day(found: Series, signal: Signal, most: float | None, begin: datetime, end: datetime) -> Counted:
    """Return what a register counted from `begin` to `end`; `most`: its largest rate by default [m3/h].

    Bad readings are passed over. An increment over an end of the day is split evenly by time when its readings are no further apart
    than the register's reach, or when nothing was counted; otherwise the share of the day is not known. An increment that cannot
    be leaves the day without a total.
    """
    first, last = micros(begin), micros(end)
    reach = registers.reach(signal) // timedelta(microseconds=1)
    near = found.between(first - limits.LONGEST_HOLD // timedelta(microseconds=1), last + reach + 1)
    good = (near.q != BAD) & np.isfinite(near.v)
    t, v = near.t[good], near.v[good]
    before, after = np.flatnonzero(t <= first), np.flatnonzero(t >= last)
    if not len(before) or not len(after):
        return Counted(None, f"register not read up to the {'end' if len(before) else 'beginning'} of the day")
    part = slice(before[-1], after[0] + 1)
    t, v = t[part], v[part]
    capacity = None if signal.rollover is None else units.to_si(signal.rollover, signal.unit)
    step = registers.increments(t, v, capacity, signal.maximum_rate or most)[0][1:]
    if not np.isfinite(step).all():
        return Counted(None, "register increment impossible")
    inside = (np.minimum(t[1:], last) - np.maximum(t[:-1], first)) / np.diff(t)
    if ((inside < 1.0) & (np.diff(t) > reach) & (step != 0.0)).any():
        return Counted(None, "register not read near the beginning or the end of the day")
    return Counted(float(np.sum(step * inside)), None)
