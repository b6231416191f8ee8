"""What a load touches, put on the work lists of the steps after it, and the operating days it speaks of."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines import totaliser
from pipelines.plantfile import PlantFile
from pipelines.store import Store
from schemas import TABLES

REACHES_BACK = timedelta(minutes=30)  # a sloped value reaches back to the reading before; registers as far as they say
REACHES_ON = timedelta(hours=24)  # a state is held so long
LAB_REACHES_DAYS = 14  # a held feed TS relaxes to a median of so many days
_MINUTE_US = 60_000_000
_DAY_MIN = 1_440
_CLOSE = 5_000_000  # numbers (minutes of ten years) that are marked off one by one
_INSTANT = pl.Datetime("us", "UTC")


def operating_day(at: datetime, plant_file: PlantFile) -> date:
    """Return the operating day of an instant: plant-local wall time less the configured hour."""
    return plant_file.operating_day(at)


def day_start(day: date, plant_file: PlantFile) -> datetime:
    """Return the instant at which an operating day begins."""
    return datetime.combine(day, plant_file.plant.operating_day_start, plant_file.zone).astimezone(UTC)


def operating_days(minutes: NDArray[np.int64], plant_file: PlantFile) -> set[date]:
    """Return the operating days of minutes (since 1970, sorted; `minutes_of`)."""
    if not len(minutes):
        return set()
    low, high = (datetime.fromtimestamp(int(m) * 60, UTC) for m in (minutes[0], minutes[-1]))
    first, last = operating_day(low, plant_file), operating_day(high, plant_file)
    steady = low.astimezone(plant_file.zone).utcoffset() == high.astimezone(plant_file.zone).utcoffset()
    if first == last and steady:
        return {first}
    start = plant_file.plant.operating_day_start
    local = pl.Series(minutes * _MINUTE_US).cast(_INSTANT).dt.convert_time_zone(plant_file.plant.time_zone).dt.replace_time_zone(None)
    return set((local - timedelta(hours=start.hour, minutes=start.minute)).dt.date().unique().to_list())


def utc_days(minutes: NDArray[np.int64]) -> set[date]:
    """Return the UTC days of minutes (since 1970, sorted)."""
    return {date(1970, 1, 1) + timedelta(days=int(day)) for day in np.unique(minutes // _DAY_MIN)}


def minutes_of(times: pl.Series) -> NDArray[np.int64]:
    """Return the minutes since 1970 in which UTC times (without null) lie, sorted, each once."""
    return distinct(times.to_physical().to_numpy() // _MINUTE_US)


def distinct(numbers: NDArray[np.integer]) -> NDArray[np.int64]:
    """Return the whole numbers that occur, sorted: marked off where they lie close, a tenth of the time of sorting them."""
    if not len(numbers):
        return np.zeros(0, dtype=np.int64)
    first, last = int(numbers.min()), int(numbers.max())
    if last - first > _CLOSE:
        return np.unique(numbers).astype(np.int64)
    seen = np.zeros(last - first + 1, dtype=np.bool_)
    seen[numbers - first] = True
    return np.flatnonzero(seen) + first


def note_days(store: Store, load_id: str, days: Iterable[date]) -> None:
    """Write the operating days a load speaks of; data_version comes from them."""
    ordered = sorted(days)
    frame = pl.DataFrame(
        {"plant": [store.plant] * len(ordered), "load_id": [load_id] * len(ordered), "operating_day": ordered},
        schema=TABLES["load_days"].polars_schema(),
    )
    store.append("load_days", frame)


def mark_hours(store: Store, plant_file: PlantFile, first: datetime, last: datetime) -> None:
    """Mark the hours a load with readings from `first` to `last` touches; call it before the load is written to `loads`.

    Hours reach from 30 minutes (or the longest reach of a register) before the first reading to 24 hours after the last, not past the end of the last operating
    day with readings. Where the load widens what was there, whole operating days and the hours between count as touched.
    """
    old_first, old_last = store.rows("SELECT min(first_utc), max(last_utc) FROM loads")[0]
    begin = day_start(operating_day(min(first, old_first or first), plant_file), plant_file)
    end = day_start(operating_day(max(last, old_last or last), plant_file) + timedelta(days=1), plant_file)
    start, stop = first - max(REACHES_BACK, totaliser.longest_reach(plant_file.signals)), last + REACHES_ON
    if old_first is None or first < old_first:
        start = begin
        stop = max(stop, old_first or stop)
    if old_last is None or last > old_last:
        stop = end
        start = min(start, old_last or start)
    store.mark_hours(max(start, begin), min(stop, end) - timedelta(microseconds=1))


def mark_lab(store: Store, days: Iterable[date]) -> None:
    """Mark the days of samples and those a held feed TS reaches."""
    store.mark_days("compute", {d + timedelta(days=k) for d in days for k in range(LAB_REACHES_DAYS + 1)})
