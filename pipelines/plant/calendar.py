"""The plant's calendar: dates of the plant file as instants, operating days, shifts. The only definition of each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)  # stands for "since always"
FAR_FUTURE = datetime(9999, 1, 1, tzinfo=UTC)  # stands for "until further notice"
MINUTE = timedelta(minutes=1)
_DAY = timedelta(days=1)
_MINUTE_US = 60_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def micros(at: datetime) -> int:
    """Return an instant as microseconds since 1970."""
    return (at - _EPOCH) // timedelta(microseconds=1)


def contiguous(days: Iterable[date]) -> list[tuple[date, date]]:
    """Return sorted days as spans (first, last) of days that follow each other."""
    spans: list[tuple[date, date]] = []
    for day in days:
        if spans and day - spans[-1][1] == _DAY:
            spans[-1] = (spans[-1][0], day)
        else:
            spans.append((day, day))
    return spans


@dataclass(frozen=True)
class ShiftHours:
    """A shift of the roster in plant-local time; `end` may lie after midnight."""

    name: str
    start: time
    end: time


@dataclass(frozen=True)
class Calendar:
    """Operating days and shifts of a plant.

    An operating day begins at the wall time `day_starts_at` [plant-local, whole minutes]: at the first of two instants when the
    clock shows that time twice, at the instant of the leap when the clock skips it. It ends where the next one begins, so it
    can have 23 or 25 hours.
    """

    zone: ZoneInfo
    day_starts_at: time
    shifts: tuple[ShiftHours, ...] = ()

    def day_start(self, day: date) -> datetime:
        """Return the UTC instant at which an operating day begins."""
        wall = datetime.combine(day, self.day_starts_at.replace(second=0, microsecond=0), self.zone)
        instant = wall.astimezone(UTC)
        if instant.astimezone(self.zone).replace(tzinfo=None) == wall.replace(tzinfo=None):
            return instant
        before, after = wall.replace(fold=1).astimezone(UTC), instant
        offset = before.astimezone(self.zone).utcoffset()
        while after - before > MINUTE:
            middle = before + (after - before) // MINUTE // 2 * MINUTE
            if middle.astimezone(self.zone).utcoffset() == offset:
                before = middle
            else:
                after = middle
        return after

    def day_end(self, day: date) -> datetime:
        """Return the UTC instant at which an operating day ends (not included)."""
        return self.day_start(day + _DAY)

    def operating_day(self, at: datetime) -> date:
        """Return the operating day of an instant."""
        day = at.astimezone(self.zone).date() + _DAY
        while self.day_start(day) > at:
            day -= _DAY
        return day

    def day_starts(self, first: datetime, last: datetime) -> tuple[list[date], NDArray[np.int64]]:
        """Return the operating days from `first` to `last` (instants), and their starts in microseconds since 1970."""
        import numpy as np

        begin, end = self.operating_day(first), self.operating_day(last)
        days = [begin + k * _DAY for k in range((end - begin).days + 1)]
        return days, np.array([micros(self.day_start(day)) for day in days], dtype=np.int64)

    def operating_days(self, minutes: NDArray[np.int64]) -> set[date]:
        """Return the operating days of minutes (since 1970, sorted)."""
        import numpy as np

        if not len(minutes):
            return set()
        days, starts = self.day_starts(*(datetime.fromtimestamp(int(m) * 60, UTC) for m in (minutes[0], minutes[-1])))
        edges = np.searchsorted(minutes * _MINUTE_US, np.append(starts[1:], np.iinfo(np.int64).max), side="left")
        counts = np.diff(edges, prepend=0)
        return {day for day, count in zip(days, counts, strict=True) if count}

    def minutes(self, first: datetime, end: datetime) -> pl.DataFrame:
        """Return minute_utc, operating_day and shift of every minute in [first, end)."""
        import numpy as np
        import polars as pl

        axis = pl.datetime_range(first, end, MINUTE, closed="left", time_unit="us", time_zone="UTC", eager=True).alias("minute_utc")
        days, starts = self.day_starts(first, max(first, end - MINUTE))
        place = np.searchsorted(starts, axis.to_physical().to_numpy(), side="right") - 1
        day = pl.Series("operating_day", days, dtype=pl.Date).gather(pl.Series(place))
        local = axis.dt.convert_time_zone(self.zone.key).dt.replace_time_zone(None)
        return pl.DataFrame([axis, day, self._shift(local).alias("shift")])

    def _shift(self, local: pl.Series) -> pl.Series:
        """Return the shift of local times by the roster; null outside every shift, the first that fits when two overlap."""
        import polars as pl

        of_day = local.dt.hour().cast(pl.Int32) * 60 + local.dt.minute().cast(pl.Int32)
        choice: pl.Expr = pl.lit(None, dtype=pl.String)
        for shift in reversed(self.shifts):
            begin, end, now = _minute(shift.start), _minute(shift.end), pl.col("m")
            inside = (now >= begin) & (now < end) if begin < end else (now >= begin) | (now < end)
            choice = pl.when(inside).then(pl.lit(shift.name)).otherwise(choice)
        return pl.DataFrame({"m": of_day}).with_columns(choice.alias("shift"))["shift"]

    def instant(self, at: date | datetime) -> datetime:
        """Return a date or time of the plant file in UTC: a date begins with its operating day, a naive time is plant-local."""
        if not isinstance(at, datetime):
            return self.day_start(at)
        return (at if at.tzinfo is not None else at.replace(tzinfo=self.zone)).astimezone(UTC)

    def since(self, at: date | datetime | None) -> datetime:
        """Return where an entry of the plant file begins to hold; without `since` it always held."""
        return LONG_AGO if at is None else self.instant(at)

    def until(self, at: date | datetime | None) -> datetime:
        """Return where an entry of the plant file ceases to hold (not included); without `until` it still holds."""
        return FAR_FUTURE if at is None else self.instant(at)


def wall_time(hours: float) -> time:
    """Return hours after midnight as a time of day, to the minute."""
    minutes = round(hours * 60)
    return time(minutes // 60, minutes % 60)


def overlaps(spans: Iterable[tuple[datetime, datetime]]) -> list[tuple[int, int, datetime]]:
    """Return (place of one, place of the next, start of the next) for spans [start, end) that overlap, in order of time."""
    dated = sorted((start, end, k) for k, (start, end) in enumerate(spans))
    return [(one[2], other[2], other[0]) for one, other in pairwise(dated) if other[0] < one[1]]


def _minute(at: time) -> int:
    return at.hour * 60 + at.minute
