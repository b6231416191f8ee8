"""Align: resample irregular readings to one row a line and minute, with coverage and running state."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from pipelines.align import grid, silence, states, worklist
from pipelines.base import clock
from pipelines.base.receipts import StepReceipt
from pipelines.plant import calendar, limits, registers
from pipelines.plant.model import Line, PlantFile
from pipelines.store import Store, reading_series, schema_check
from schemas.vocabulary import RUNNING_STATES

__all__ = ["aligned", "run"]


def run(store: Store, plant_file: PlantFile) -> StepReceipt:
    """Align the pending hours of a plant and mark their operating days for compute, all in one transaction.

    Raise PlantFileError, and write nothing, when two tags have one role of a line at the same time.
    """
    started = clock.stopwatch()
    if not store.rows("SELECT 1 FROM pending_hours LIMIT 1"):
        return StepReceipt("align", seconds=clock.stopwatch() - started)
    written, days = 0, set[date]()
    with store.transaction():
        whole = worklist.extent(store, plant_file)
        if whole is not None:
            days |= _trimmed(store, whole)
            ranges = list(worklist.ranges(store, plant_file, whole))
            stood = _stood(store, ranges)
            for first, end in ranges:
                frame = aligned(store, plant_file, first, end)
                schema_check.require_schema(store.plant, "minutes", frame)
                store.con.execute("DELETE FROM minutes WHERE minute_utc >= $a AND minute_utc < $b", {"a": first, "b": end})
                store.append("minutes", frame)
                written += frame.height
                days |= set(frame["operating_day"].unique())
            changed = {day for _, day in stood ^ _stood(store, ranges)}
            store.mark_days("compute", _reached(days, changed, plant_file.calendar.operating_day(whole.end - calendar.MINUTE)))
        store.con.execute("DELETE FROM pending_hours")
    return StepReceipt("align", len(days), {"minutes": written}, clock.stopwatch() - started)


def aligned(store: Store, plant_file: PlantFile, first: datetime, end: datetime) -> pl.DataFrame:
    """Return the rows of `minutes` for [first, end), whole minutes, all lines, in (line, minute) order."""
    lines = sorted(plant_file.lines, key=lambda line: line.id)
    spans = {line.id: grid.spans_by_role(line.id, plant_file) for line in lines}
    early = first - max(states.look_back_min(line) for line in lines) * calendar.MINUTE
    tags = sorted({span.signal.tag for roles in spans.values() for found in roles.values() for span in found})
    series = reading_series.of_range(store, tags, early, end, max(limits.LONGEST_REACH, registers.longest_reach(plant_file.signals)))
    edges = np.arange(calendar.micros(early), calendar.micros(end) + 1, calendar.MINUTE // timedelta(microseconds=1), dtype=np.int64)
    axis = plant_file.calendar.minutes(first, end)
    found = {line.id: _roles(plant_file, line, spans[line.id], series, edges) for line in lines}
    return pl.concat([_line_rows(store.plant, line, found[line.id], axis) for line in lines])


def _roles(
    plant_file: PlantFile,
    line: Line,
    spans: dict[str, list[grid.Span]],
    series: Mapping[str, reading_series.Series],
    edges: reading_series.Times,
) -> dict[str, grid.RoleMinutes]:
    """Return the roles of a line on the intervals between the edges [us]: of its signals, and flows told by registers alone."""
    of_signals = silence.without_held_states(grid.line_minutes(spans, series, edges), spans, series, edges)
    return grid.with_flows_by_register(of_signals, registers.flows_by_register(plant_file, line), edges)


def _line_rows(plant: str, line: Line, roles: dict[str, grid.RoleMinutes], axis: pl.DataFrame) -> pl.DataFrame:
    """Return the rows of one line for the minutes of the axis; the roles begin earlier, as far back as states need."""
    n = max((len(role.value) for role in roles.values()), default=axis.height)
    kept = slice(n - axis.height, n)
    state, pump = states.running_states(roles, line, n)[kept], states.pump_known(roles, line, n)
    if "pump_run" in roles:  # a run bit contradicted by the other signals must not add run hours
        roles = {**roles, "pump_run": roles["pump_run"].without(states.contradicted(roles, line, n))}
    uncertain = np.zeros(n, dtype=bool)
    for role in roles.values():
        uncertain |= role.is_uncertain
    return axis.select(
        pl.lit(plant).alias("plant"),
        pl.lit(line.id).alias("line"),
        "minute_utc",
        "operating_day",
        "shift",
        pl.Series("state", RUNNING_STATES, dtype=pl.String).gather(pl.Series(state)).alias("state"),
        pl.when(pl.Series(pump.known[kept])).then(pl.Series(pump.yes[kept])).alias("is_pump_running"),
        pl.Series("is_uncertain", uncertain[kept]),
        *grid.columns(roles, kept),
    )


def _trimmed(store: Store, whole: worklist.Extent) -> set[date]:
    """Delete minutes outside the extent (the start of the operating day may have changed); return their operating days."""
    outside = "FROM minutes WHERE minute_utc < $a OR minute_utc >= $b"
    limits = {"a": whole.begin, "b": whole.end}
    days = {day for (day,) in store.rows(f"SELECT DISTINCT operating_day {outside}", limits)}
    if days:
        store.con.execute(f"DELETE {outside}", limits)
    return days


def _stood(store: Store, ranges: list[tuple[datetime, datetime]]) -> set[tuple[str, date]]:
    """Return line and operating day of the days in the ranges on which a line was certainly not fed; feed samples of them do not count."""
    if not ranges:
        return set()
    sql = """
        WITH asked AS (SELECT DISTINCT operating_day FROM minutes WHERE minute_utc >= $first AND minute_utc < $end)
        SELECT line, operating_day FROM minutes WHERE operating_day IN (FROM asked)
        GROUP BY ALL HAVING NOT bool_or(state IN ('start-up', 'processing', 'unknown'))"""
    return set(store.rows(sql, {"first": ranges[0][0], "end": ranges[-1][1]}))


def _reached(days: set[date], fed_or_not: set[date], last: date) -> set[date]:
    """Return the days and those that rest on their states, up to the last.

    A start is an edge from the minute before, which may belong to the previous day. Where it changed whether a day was fed, a feed sample of
    it counts or counts no more, and its TS is held over so many days.
    """
    later = {day + timedelta(days=1) for day in days} | {
        day + timedelta(days=k) for day in fed_or_not for k in range(limits.HELD_TS_DAYS + 1)
    }
    return days | {day for day in later if day <= last}
