"""Readings behind some days, read only where minutes are not enough: run bits, registers, doubtful signals."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from pipelines.base import units
from pipelines.plant import limits, registers
from pipelines.plant.model import PlantFile, Signal
from pipelines.store import Store
from pipelines.watch.episodes import Values
from pipelines.watch.line_day import LineDay
from pipelines.watch.signal_character import Readings
from schemas.vocabulary import BAD

_MINUTE_US = 60_000_000.0


class Said:
    """Readings of one plant between two instants; each tag is read once."""

    def __init__(self, store: Store, plant_file: PlantFile, first: datetime, end: datetime) -> None:
        self._store, self._plant_file = store, plant_file
        self._first, self._end = first - limits.LONGEST_HOLD, end
        self._whole: dict[str, tuple[NDArray[np.int64], Values]] = {}

    def of_day(self, tag: str, day: LineDay, before: timedelta = timedelta()) -> Readings:
        """Return the readings of a tag on a day (and `before` it, at most a day); bad ones are nan."""
        times, values = self._of_tag(tag)
        start = round(day.start.timestamp() * 1e6)
        part = slice(*np.searchsorted(times, [start - round(before.total_seconds() * 1e6), start + day.minutes * 60_000_000]))
        return Readings((times[part] - start) / _MINUTE_US, values[part])

    def some_of_day(self, tag: str, day: LineDay) -> Readings:
        """Return the same for one day alone, bad ones left out: for the few days a question is asked of."""
        found = self._read(tag, day.start, day.at(day.minutes))
        good = np.isfinite(found[1])
        return Readings((found[0][good] - round(day.start.timestamp() * 1e6)) / _MINUTE_US, found[1][good])

    def register_events(self, signal: Signal, most: float | None, day: LineDay) -> list[tuple[int, int, float, float]]:
        """Return (minute of the day, verdict, register before, after) of increments that are a reset or cannot be."""
        found = self.of_day(signal.tag, day, limits.LONGEST_HOLD)
        capacity = None if signal.rollover is None else units.to_si(signal.rollover, signal.unit)
        _, verdict = registers.increments(
            np.round(found.at * _MINUTE_US).astype(np.int64), found.value, capacity, signal.maximum_rate or most
        )
        odd = np.flatnonzero(np.isin(verdict, (registers.RESET, registers.IMPOSSIBLE)) & (found.at >= 0))
        return [(int(found.at[k]), int(verdict[k]), float(found.value[k - 1]), float(found.value[k])) for k in odd]

    def _of_tag(self, tag: str) -> tuple[NDArray[np.int64], Values]:
        if tag not in self._whole:
            self._whole[tag] = self._read(tag, self._first, self._end)
        return self._whole[tag]

    def _read(self, tag: str, first: datetime, end: datetime) -> tuple[NDArray[np.int64], Values]:
        frame = self._store.frame(
            "SELECT epoch_us(time_utc) AS t, CASE WHEN quality <> $bad THEN coalesce(value, 'nan'::DOUBLE) ELSE 'nan'::DOUBLE END AS v "
            "FROM readings WHERE tag = $tag AND time_utc >= $first AND time_utc < $end ORDER BY time_utc",
            tag=tag, first=first, end=end, bad=BAD,
        )  # fmt: skip
        return frame["t"].to_numpy(), frame["v"].to_numpy()
