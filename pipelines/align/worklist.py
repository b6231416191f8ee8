"""Turn marked hours into the ranges of minutes to align, in pieces that fit in memory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import ceil

from pipelines.align import states
from pipelines.plant import calendar
from pipelines.plant.model import PlantFile
from pipelines.store import Store

LONGEST_PIECE = timedelta(days=31)  # aligned in one piece, so that memory use does not grow with a backfill
MOST_READINGS = 4_000_000  # about a day of 40 tags at one reading a second; about 300 MB of memory a piece
_HOUR = timedelta(hours=1)
_HOUR_US = 3_600_000_000


@dataclass(frozen=True)
class Extent:
    """Whole operating days from the first to the last reading of a plant: [begin, end) in UTC."""

    begin: datetime
    end: datetime


def extent(store: Store, plant_file: PlantFile) -> Extent | None:
    """Return the time span that `minutes` must cover; None without readings."""
    first, last = store.recorded()
    if first is None or last is None:
        return None
    begin = plant_file.calendar.day_start(plant_file.calendar.operating_day(first))
    end = plant_file.calendar.day_end(plant_file.calendar.operating_day(last))
    return Extent(begin, end)


def ranges(store: Store, plant_file: PlantFile, whole: Extent) -> Iterator[tuple[datetime, datetime]]:
    """Yield the ranges [first, end) to align, in order: the marked hours and the parts of the extent missing from `minutes`.

    Each contiguous range is extended by the longest start-up time, since a state can depend on a minute that far back.
    """
    marked = {hour.astimezone(UTC) for (hour,) in store.rows("SELECT hour_utc FROM pending_hours")}
    longest = max(states.look_back_min(line) for line in plant_file.lines)
    after = {hour + k * _HOUR for hour in marked for k in range(1, ceil(longest / 60) + 1) if hour + _HOUR not in marked}
    low, high = store.rows("SELECT min(minute_utc), max(minute_utc) FROM minutes")[0]
    lacking = _hours(whole.begin, whole.end) if low is None else [*_hours(whole.begin, low), *_hours(high + calendar.MINUTE, whole.end)]
    hours = sorted(hour for hour in marked | after | set(lacking) if whole.begin - _HOUR < hour < whole.end)
    if hours:
        for first, end in _pieces(hours, _readings_by_hour(store, hours[0], hours[-1] + _HOUR)):
            yield max(first, whole.begin), min(end, whole.end)


def _hours(first: datetime, end: datetime) -> list[datetime]:
    """Return the UTC hours that hold the minutes of [first, end)."""
    hour = first.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    return [hour + k * _HOUR for k in range(ceil((end - hour) / _HOUR))] if end > first else []


def _readings_by_hour(store: Store, first: datetime, end: datetime) -> dict[int, int]:
    """Return hour since 1970 -> number of readings, of all tags."""
    return dict(
        store.rows(
            "SELECT epoch_us(time_utc) // $hour, count(*) FROM packed_readings WHERE time_utc BETWEEN $a AND $b GROUP BY 1",
            {"hour": _HOUR_US, "a": first, "b": end},
        )
    )


def _pieces(hours: list[datetime], size: dict[int, int]) -> Iterator[tuple[datetime, datetime]]:
    """Join consecutive hours to ranges of at most LONGEST_PIECE and, but for the first hour, MOST_READINGS."""
    start, end, held = hours[0], hours[0], 0
    for hour in hours:
        here = size.get(calendar.micros(hour) // _HOUR_US, 0)
        if hour > start and (hour != end or hour - start >= LONGEST_PIECE or held + here > MOST_READINGS):
            yield start, end
            start, held = hour, 0
        end, held = hour + _HOUR, held + here
    yield start, end
