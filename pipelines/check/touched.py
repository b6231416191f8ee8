"""Put the hours and days touched by a load on the work lists of later steps."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines.plant import limits, registers
from pipelines.plant.model import PlantFile
from pipelines.store import Store, restatement
from schemas import TABLES

_MINUTE_US = 60_000_000
_DAY_MIN = 1_440
_CLOSE = 5_000_000  # numbers (minutes of ten years) that are marked off one by one
_INSTANT = pl.Datetime("us", "UTC")


def utc_days(minutes: NDArray[np.int64]) -> set[date]:
    """Return the UTC days of minutes (since 1970, sorted)."""
    return {date(1970, 1, 1) + timedelta(days=int(day)) for day in np.unique(minutes // _DAY_MIN)}


def minutes_of(times: pl.Series) -> NDArray[np.int64]:
    """Return the minutes since 1970 in which UTC times (without null) lie, sorted, each once."""
    return distinct(times.to_physical().to_numpy() // _MINUTE_US)


def distinct(numbers: NDArray[np.integer]) -> NDArray[np.int64]:
    """Return the distinct whole numbers, sorted; a bitmap is used where they lie close, ten times faster than a sort."""
    if not len(numbers):
        return np.zeros(0, dtype=np.int64)
    first, last = int(numbers.min()), int(numbers.max())
    if last - first > _CLOSE:
        return np.unique(numbers).astype(np.int64)
    seen = np.zeros(last - first + 1, dtype=np.bool_)
    seen[numbers - first] = True
    return np.flatnonzero(seen) + first


def note_days(store: Store, load_id: str, days: Iterable[date]) -> None:
    """Write the operating days a load has data for; data_version is derived from them."""
    ordered = sorted(days)
    frame = pl.DataFrame(
        {"plant": [store.plant] * len(ordered), "load_id": [load_id] * len(ordered), "operating_day": ordered},
        schema=TABLES["load_days"].polars_schema(),
    )
    store.append("load_days", frame)


def mark_hours(store: Store, plant_file: PlantFile, first: datetime, last: datetime, held: frozenset[date] = frozenset()) -> None:
    """Mark the hours a load with readings from `first` to `last` touches; call it before the load is written to `loads`.

    Hours reach from 30 minutes (or the longest reach of a register) before the first reading to 24 hours after the last, not past the end of the last operating
    day with readings. Where the load widens what was there, whole operating days and the hours between count as touched. Of the
    operating days in `held` no hour is marked: they wait for a restatement by command.
    """
    old_first, old_last = store.rows("SELECT min(first_utc), max(last_utc) FROM loads")[0]
    begin = plant_file.calendar.day_start(plant_file.calendar.operating_day(min(first, old_first or first)))
    end = plant_file.calendar.day_end(plant_file.calendar.operating_day(max(last, old_last or last)))
    start, stop = first - max(limits.LONGEST_REACH, registers.longest_reach(plant_file.signals)), last + limits.LONGEST_HOLD
    if old_first is None or first < old_first:
        start = begin
        stop = max(stop, old_first or stop)
    if old_last is None or last > old_last:
        stop = end
        start = min(start, old_last or start)
    start, stop = max(start, begin), min(stop, end)
    for since, until in restatement.unheld_spans(plant_file, start, stop, held) if held else [(start, stop)]:
        store.mark_hours(since, until - timedelta(microseconds=1))


def mark_lab(store: Store, days: Iterable[date], held: frozenset[date] = frozenset()) -> None:
    """Mark the days of samples and those a held feed TS reaches; days in `held` wait for a restatement by command."""
    own = set(days)
    store.mark_days("compute", {d + timedelta(days=k) for d in own for k in range(limits.HELD_TS_DAYS + 1)} - held)
    store.mark_days(restatement.STAGE, own & held)
