"""Wall-clock times to UTC: the missing hour refused, the repeated hour resolved by the order of the file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import polars as pl

from pipelines.files.original import FileRefusedError
from pipelines.plant import layout_checks
from pipelines.plant.model import Layout
from pipelines.receive.times.stamps import UNREADABLE, UTC_US, Times, is_date_only

MISSING_HOUR = "local time does not exist"
AMBIGUOUS = "ambiguous local time"
NEIGHBOURHOOD = timedelta(hours=2)  # rows so near to a repeated hour help to tell its passes apart
JITTER = timedelta(minutes=10)  # records of a file in time order may stand this much out of order
_STEP = timedelta(minutes=15)  # no repeated span is shorter
_STEPS = range(-(NEIGHBOURHOOD // _STEP), NEIGHBOURHOOD // _STEP + 1)
MOST_HELD_BACK = 4_000_000  # rows that wait for the next piece at most
_NO_CHANGE_WITHIN = timedelta(days=20)  # equal offsets at both ends of a shorter span: no zone changes twice in it
_APART = timedelta(hours=6)  # repeated hours further apart than this are two
_NONE = pl.Series("time_reason", [None], dtype=pl.String)


@dataclass(frozen=True)
class Stamped:
    """Times of rows: `utc` Datetime[us, UTC] with null where `reason` (String) says why."""

    utc: pl.Series
    reason: pl.Series


@dataclass(frozen=True)
class _Local:
    """Wall-clock times read both ways; `twice` marks the repeated hour, `gone` the missing one."""

    early: pl.Series
    late: pl.Series
    twice: pl.Series
    gone: pl.Series


class Localiser:
    """Turns the parsed stamps of one layout into UTC. FileRefusedError when the layout's time zone is not known."""

    def __init__(self, layout: Layout, plant_zone: str) -> None:
        zone = plant_zone if layout.time_zone == "plant" else layout.time_zone
        offset = layout_checks.fixed_offset(zone)
        self.layout, self.zone, self.shift = layout, zone, offset or timedelta(0)
        self.is_fixed = offset is not None
        if not self.is_fixed:
            try:
                self.tz = ZoneInfo(zone)
            except (ZoneInfoNotFoundError, ValueError) as error:
                raise FileRefusedError("unknown layout", f"{layout.id}: time_zone = {zone!r} is not known") from error
        self.interval = timedelta(hours=layout.interval or 0.0)
        self.is_date = is_date_only(layout.time_format)
        self._skipped: tuple[datetime, int] | None = None  # first stamp at a time that the zone skips, and how many

    def to_utc(self, times: Times, tags: pl.Series | None = None) -> Stamped:
        """Return UTC times; `tags` of a long file let its repeated hour be judged tag by tag where order demands it."""
        size = len(times.readable())
        utc, reason = times.instant, _NONE.new_from_index(0, size)
        if times.wall is not None:
            local, reason = self._wall(times.wall, reason, tags)
            utc = local if utc is None else utc.zip_with(utc.is_not_null(), local)
        assert utc is not None
        if utc.null_count():
            unread = utc.is_null() & reason.is_null()
            reason = reason.zip_with(~unread, pl.Series([UNREADABLE]).new_from_index(0, size))
        if self.layout.stamp == "interval end":
            utc = utc - self.interval
        return Stamped(utc.cast(UTC_US).alias("time_utc"), reason.alias("time_reason"))

    @property
    def note(self) -> str | None:
        """Return what stamps at times that the zone skips say of its clock, and the remedy; None when there are none."""
        if self._skipped is None:
            return None
        first, count = self._skipped
        before = self.tz.utcoffset(first - timedelta(hours=3)) or timedelta(0)
        minutes = before // timedelta(minutes=1)
        sign, (hours, rest) = "-" if minutes < 0 else "+", divmod(abs(minutes), 60)
        return (
            f"{count:,} row{'s' * (count > 1)} at times that {self.zone} skips, the first at {first:%Y-%m-%d %H:%M}: these stamps do not follow "
            f'daylight saving; declare the fixed offset, time_zone = "{sign}{hours:02d}:{rest:02d}", in layout {self.layout.id} and run flocledger rebuild'
        )

    def _note_skipped(self, wall: pl.Series, gone: pl.Series) -> None:
        at = wall.filter(gone)
        first, count = self._skipped or (at[0], 0)
        self._skipped = first, count + len(at)

    def open_from(self, times: Times) -> int | None:
        """Return the row from which on a repeated hour at the end may go on in the next piece, or None."""
        if times.wall is None or self.is_fixed or self.is_date:
            return None
        wall = times.wall
        last = wall.drop_nulls().tail(1)
        near = [t for k in _STEPS if len(last) and self._is_repeated(t := last[0] + k * _STEP)]
        if not near:
            return None
        outside = ~wall.is_between(near[0] - NEIGHBOURHOOD, near[-1] + _STEP + NEIGHBOURHOOD).fill_null(True)
        first = int(outside.arg_true().tail(1)[0]) + 1 if outside.any() else 0
        return first if len(wall) - first <= MOST_HELD_BACK else None

    def _is_repeated(self, wall: datetime) -> bool:
        first, second = (self.tz.utcoffset(wall.replace(fold=fold)) for fold in (0, 1))
        return first is not None and second is not None and first > second

    def _wall(self, wall: pl.Series, reason: pl.Series, tags: pl.Series | None) -> tuple[pl.Series, pl.Series]:
        if self.is_fixed:
            return (wall - self.shift).dt.replace_time_zone("UTC"), reason
        if self.is_date:
            return self._day_start(wall), reason
        local = self._read(wall)
        utc = local.early
        if local.gone.any():
            if self.layout.stamp == "interval end":  # an interval may end where the missing hour begins
                end = self._utc(wall - timedelta(microseconds=1), "latest") + timedelta(microseconds=1)
                utc = utc.zip_with(~local.gone, end)
            if (still := utc.is_null() & local.gone).any():
                self._note_skipped(wall, still)
            reason = reason.zip_with(~(utc.is_null() & local.gone), pl.Series([MISSING_HOUR]).new_from_index(0, len(wall)))
        if local.twice.any():
            second, unclear = _passes(wall, local, tags, self.interval)
            utc = utc.zip_with(~_mask(second, len(wall)), local.late)
            clear = ~_mask(unclear, len(wall))
            utc = pl.select(pl.when(clear).then(utc)).to_series()
            reason = reason.zip_with(clear, pl.Series([AMBIGUOUS]).new_from_index(0, len(wall)))
        return utc, reason

    def _read(self, wall: pl.Series) -> _Local:
        early = self._utc(wall, "earliest")
        late = self._utc(wall, "latest") if self._may_change(wall) else early
        return _Local(early, late, (early != late).fill_null(False), early.is_null() & wall.is_not_null())

    def _utc(self, wall: pl.Series, ambiguous: str) -> pl.Series:
        return wall.dt.replace_time_zone(self.zone, ambiguous=ambiguous, non_existent="null").dt.convert_time_zone("UTC")  # type: ignore[arg-type]

    def _may_change(self, wall: pl.Series) -> bool:
        low, high = wall.min(), wall.max()
        if not isinstance(low, datetime) or not isinstance(high, datetime):
            return False
        ends = [self.tz.utcoffset(low - timedelta(days=1)), self.tz.utcoffset(high + timedelta(days=1))]
        return ends[0] != ends[1] or high - low > _NO_CHANGE_WITHIN

    def _day_start(self, wall: pl.Series) -> pl.Series:
        """Return the first instant of each local date, also where midnight is skipped or repeated."""
        utc = self._utc(wall, "earliest")
        for quarter in range(1, 9):
            if utc.null_count() == wall.null_count():
                break
            utc = utc.zip_with(utc.is_not_null(), self._utc(wall + timedelta(minutes=15 * quarter), "earliest"))
        return utc


def _mask(rows: list[int], size: int) -> pl.Series:
    found = pl.Series([False]).new_from_index(0, size)
    return found.scatter(rows, True) if rows else found


def _passes(wall: pl.Series, local: _Local, tags: pl.Series | None, interval: timedelta) -> tuple[list[int], list[int]]:
    """Return (rows of the second pass, rows that cannot be told) over all repeated hours in the rows."""
    frame = pl.DataFrame({"wall": wall, "twice": local.twice, "shift": local.late - local.early}).with_row_index("i")
    frame = frame.with_columns(tag=tags if tags is not None else pl.lit("")).filter(pl.col("wall").is_not_null())
    second: list[int] = []
    unclear: list[int] = []
    for low, high, shift in _repeated_hours(frame):
        near = frame.filter(pl.col("wall").is_between(low - NEIGHBOURHOOD, high + NEIGHBOURHOOD))
        for rows, told in _judged(near, shift, interval):
            if told is None:
                unclear += rows
            else:
                second += [row for row, is_second in zip(rows, told, strict=True) if is_second]
    return second, unclear


def _repeated_hours(frame: pl.DataFrame) -> Iterator[tuple[datetime, datetime, timedelta]]:
    """Yield (first stamp, last stamp, how far the clock went back) of each repeated hour that has rows."""
    found = frame.filter("twice").select("wall", "shift").unique().sort("wall")
    times, shifts = found["wall"].to_list(), found["shift"].to_list()
    start = 0
    for i in range(1, len(times) + 1):
        if i == len(times) or times[i] - times[i - 1] > _APART:
            yield times[start], times[i - 1], shifts[start]
            start = i


def _judged(near: pl.DataFrame, shift: timedelta, interval: timedelta) -> Iterator[tuple[list[int], list[bool] | None]]:
    """Yield (rows of the repeated hour, which are of its second pass or None).

    The order of the file as a whole decides when it is in time order round the hour (either way); else, or when that
    tells nothing, the order of each tag.
    """
    outside = near.filter(~pl.col("twice"))["wall"].diff().drop_nulls()
    is_ordered = bool((outside >= -JITTER).all()) or bool((outside <= JITTER).all())
    several = near["tag"].n_unique() > 1
    if is_ordered or not several:
        inside = near.filter("twice")
        told = second_pass(_hour(near, inside, shift, interval))
        if told is not None or not several:
            yield inside["i"].to_list(), told
            return
    for scope in near.partition_by("tag", maintain_order=True):
        inside = scope.filter("twice")
        if inside.height:
            yield inside["i"].to_list(), second_pass(_hour(scope, inside, shift, interval))


@dataclass(frozen=True)
class Hour:
    """The rows of a repeated hour in file order, and what stands beside them."""

    times: Sequence[datetime]
    tags: Sequence[str]
    before: datetime | None  # wall time of the row before the first
    after: datetime | None  # wall time of the row behind the last
    shift: timedelta  # how far the clock went back
    interval: timedelta  # declared spacing; zero when none is declared
    spacing_outside: timedelta | None = None  # usual spacing of the rows beside the hour


def _hour(scope: pl.DataFrame, inside: pl.DataFrame, shift: timedelta, interval: timedelta) -> Hour:
    rows = inside["i"]
    before = scope.filter((pl.col("i") < rows[0]) & ~pl.col("twice"))["wall"]
    after = scope.filter((pl.col("i") > rows[-1]) & ~pl.col("twice"))["wall"]
    gaps = [g for part in (before, after) for g in _gaps(part.to_list())]
    return Hour(
        inside["wall"].to_list(),
        inside["tag"].to_list(),
        before[-1] if len(before) else None,
        after[0] if len(after) else None,
        shift,
        interval,
        _middle(gaps) if gaps else None,
    )


def _gaps(times: Sequence[datetime]) -> list[timedelta]:
    return [abs(b - a) for a, b in pairwise(times) if b != a]


def _middle(gaps: Sequence[timedelta]) -> timedelta:
    return sorted(gaps)[len(gaps) // 2]


def second_pass(hour: Hour) -> list[bool] | None:
    """Return for each row whether it belongs to the second pass (standard time), or None when that cannot be told.

    One step back: the pass changes there. None, and no stamp twice: the rows are of the pass whose neighbours they
    follow or precede without a gap. None, but every tag has one stamp exactly twice and the spacing is an hour: first,
    second. Everything else, several steps back above all, has lost its order.
    """
    if hour.before is not None and hour.after is not None and hour.before > hour.after:  # newest first
        told = second_pass(
            Hour(hour.times[::-1], hour.tags[::-1], hour.after, hour.before, hour.shift, hour.interval, hour.spacing_outside)
        )
        return None if told is None else told[::-1]
    back = [k for k in range(1, len(hour.times)) if hour.times[k] < hour.times[k - 1]]
    if len(back) > 1:
        back = [k for k in back if hour.times[k - 1] - hour.times[k] > JITTER]
    if len(back) == 1:
        return [k >= back[0] for k in range(len(hour.times))]
    if back:
        return None
    keys = list(zip(hour.tags, hour.times, strict=True))
    if len(set(keys)) == len(keys):
        return _one_pass(hour)
    return _alternating(hour)


def _one_pass(hour: Hour) -> list[bool] | None:
    inside = _gaps(hour.times)
    spacing = hour.interval or (_middle(inside) if inside else hour.spacing_outside)
    if not spacing:
        return None
    joined = min(max(spacing * 1.5, max(inside, default=timedelta(0))), hour.shift * 0.99)
    follows = hour.before is not None and hour.times[0] - hour.before <= joined
    precedes = hour.after is not None and hour.after - hour.times[-1] <= joined
    return None if follows == precedes else [precedes] * len(hour.times)


def _to_neighbours(hour: Hour) -> timedelta | None:
    """Return how far the rows beside the hour are from it at least; None unless there is one on both sides."""
    if hour.before is None or hour.after is None:
        return None
    return min(hour.times[0] - hour.before, hour.after - hour.times[-1])


def _alternating(hour: Hour) -> list[bool] | None:
    """Return first, second for tags whose one stamp of the hour stands twice, when the spacing leaves room for no more."""
    spacing = hour.interval or hour.spacing_outside or _to_neighbours(hour)
    per_tag: dict[str, list[datetime]] = {}
    for tag, time in zip(hour.tags, hour.times, strict=True):
        per_tag.setdefault(tag, []).append(time)
    if not spacing or spacing < hour.shift or any(len(t) != 2 or t[0] != t[1] for t in per_tag.values()):
        return None
    seen: set[str] = set()
    told = []
    for tag in hour.tags:
        told.append(tag in seen)
        seen.add(tag)
    return told
