"""Align: irregular readings to minutes, one row a line and minute, with coverage and running state."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from math import ceil

import numpy as np
import polars as pl

from pipelines import clock
from pipelines.align import calendar, grid, states
from pipelines.chunks import StepReceipt
from pipelines.errors import InternalError
from pipelines.plantfile import Line, PlantFile
from pipelines.store import Store
from schemas import TABLES
from schemas.roles import ROLES

LOOK_BACK = timedelta(hours=24)  # the longest a value is held
LOOK_AHEAD = timedelta(minutes=30)  # how far a sloped value or register increment reaches back from its next reading
FROM_BEFORE_MIN = 30  # a register reading or sloped value before the range still shapes so many minutes of it
PIECE = timedelta(days=31)  # aligned at a time, so that memory does not grow with a backfill
_HOUR = timedelta(hours=1)


def run(store: Store, plant_file: PlantFile) -> StepReceipt:
    """Align the pending hours of a plant and mark their operating days for compute, all in one transaction."""
    started, written, days = clock.stopwatch(), 0, set()
    with store.transaction():
        for first, end in list(_ranges(store, plant_file)):
            frame = aligned(store, plant_file, first, end)
            store.con.execute("DELETE FROM minutes WHERE minute_utc >= $a AND minute_utc < $b", {"a": first, "b": end})
            _within_schema(frame)
            store.append("minutes", frame)
            written += frame.height
            days |= set(frame["operating_day"].unique())
        store.con.execute("DELETE FROM pending_hours")
        # a start is an edge from the minute before, which may lie in the day before
        store.mark_days("compute", days | {d + timedelta(days=1) for d in days})
    return StepReceipt("align", len(days), {"minutes": written}, clock.stopwatch() - started)


def _ranges(store: Store, plant_file: PlantFile) -> Iterator[tuple[datetime, datetime]]:
    """Yield contiguous ranges to align, within the operating days from first to last reading, in pieces."""
    first, last = store.rows("SELECT min(first_utc), max(last_utc) FROM loads")[0]
    hours = {h for (h,) in store.rows("SELECT hour_utc FROM pending_hours")}
    if first is None or not hours:
        return
    begin = calendar.day_start_utc(calendar.operating_day(first, plant_file), plant_file)
    end = calendar.day_start_utc(calendar.operating_day(last, plant_file) + timedelta(days=1), plant_file)
    low, high = store.rows("SELECT min(minute_utc), max(minute_utc) FROM minutes")[0]
    if low is not None:  # the span grew: what lies between the old and the new ends is aligned too
        hours |= set(_hours(begin, low)) | set(_hours(high + timedelta(minutes=1), end))
    else:
        hours |= set(_hours(begin, end))
    start: datetime | None = None
    for hour in sorted(h for h in hours if begin - _HOUR < h < end):
        if start is not None and (hour != previous + _HOUR or hour - start >= PIECE):
            yield max(start, begin), min(previous + _HOUR, end)
            start = None
        start, previous = start or hour, hour
    if start is not None:
        yield max(start, begin), min(previous + _HOUR, end)


def _hours(first: datetime, end: datetime) -> Iterator[datetime]:
    hour = first.replace(minute=0, second=0, microsecond=0)
    while hour < end:
        yield hour
        hour += _HOUR


def aligned(store: Store, plant_file: PlantFile, first: datetime, end: datetime) -> pl.DataFrame:
    """Return the rows of `minutes` for [first, end), all lines, in (line, minute) order."""
    longest = max(FROM_BEFORE_MIN, *(line.startup_min for line in plant_file.lines)) + states.LOOK_BACK_EXTRA_MIN
    early = first - timedelta(minutes=ceil(longest))
    series = grid.by_tag(_readings(store, early, end))
    axis = calendar.minutes(early, end, plant_file)
    edges = np.append(axis["minute_utc"].to_physical().to_numpy(), grid.micros(end)).astype(np.int64)
    kept = axis.height - calendar.minutes(early, first, plant_file).height if early < first else axis.height
    return pl.concat([_line_rows(store.plant, line, series, axis, edges, plant_file).tail(kept) for line in sorted(plant_file.lines, key=lambda x: x.id)])


def _line_rows(plant: str, line: Line, series: dict[str, grid.Series], axis: pl.DataFrame, edges: np.ndarray, plant_file: PlantFile) -> pl.DataFrame:  # type: ignore[type-arg]
    columns = grid.line_columns(line.id, series, edges, plant_file)
    state = states.running_states(columns, line, grid.signals_of(line.id, plant_file), axis.height)
    uncertain = np.sum([v for k, v in columns.items() if k.endswith("_uncertain_us")], axis=0) > 0 if columns else np.zeros(axis.height, dtype=bool)
    none = pl.lit(None, dtype=pl.Float64)
    roles = [pl.Series(c, columns[c]).fill_nan(None) if c in columns else none.alias(c) for r in ROLES.values() for c in (r.column, r.coverage)]
    return axis.select(
        pl.lit(plant).alias("plant"),
        pl.lit(line.id).alias("line"),
        "minute_utc",
        "operating_day",
        "shift",
        pl.Series("state", state.tolist(), dtype=pl.String),
        pl.Series("is_uncertain", uncertain),
        *roles,
    )


def _readings(store: Store, first: datetime, end: datetime) -> pl.DataFrame:
    """Return tag, time_utc, value, quality by tag and time: those of the range, the last before it, the first after."""
    return store.frame(
        "SELECT tag, time_utc, value, quality FROM ("
        " SELECT tag, time_utc, value, quality FROM readings WHERE time_utc >= $a AND time_utc < $b"
        " UNION ALL SELECT tag, max(time_utc), arg_max({'v': value}, time_utc).v, arg_max(quality, time_utc) FROM readings WHERE time_utc >= $a - $back AND time_utc < $a GROUP BY tag"
        " UNION ALL SELECT tag, min(time_utc), arg_min({'v': value}, time_utc).v, arg_min(quality, time_utc) FROM readings WHERE time_utc >= $b AND time_utc <= $b + $ahead GROUP BY tag"
        ") ORDER BY tag, time_utc",
        a=first.astimezone(UTC),
        b=end.astimezone(UTC),
        back=LOOK_BACK,
        ahead=LOOK_AHEAD,
    )


def _within_schema(frame: pl.DataFrame) -> None:
    """Check what pandera would check, in one pass: nulls and bounds of every column of `minutes`."""
    checks = []
    for column in TABLES["minutes"].columns:
        if not column.nullable:
            checks.append(pl.col(column.name).null_count() == 0)
        if column.ge is not None:
            checks.append((pl.col(column.name) >= column.ge).all())
        if column.le is not None:
            checks.append((pl.col(column.name) <= column.le).all())
    verdict = frame.select([c.alias(str(i)) for i, c in enumerate(checks)])
    if not all(verdict.row(0)):
        raise InternalError("the align step made minutes outside their schema")
