"""Spans of readings outside their range: set-aside values tied to the bad readings they left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from pipelines.plant import limits
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from pipelines.watch.episodes import Values
from pipelines.watch.line_day import LineDay, instant_span, signal_on
from pipelines.watch.readings_lookup import Said
from schemas.vocabulary import BAD

REASONS = ("transmitter failure level", "value outside physical range", "value outside transmitter range")
_SQL = """
WITH refused AS (
  SELECT DISTINCT tag, time_utc FROM set_aside_values
  WHERE tag IN (SELECT unnest($tags)) AND list_contains($reasons, reason) AND time_utc >= $first AND time_utc < $end
), kept AS (
  SELECT tag, time_utc, quality, lead(time_utc) OVER (PARTITION BY tag ORDER BY time_utc) AS next_utc
  FROM readings WHERE tag IN (SELECT tag FROM refused) AND time_utc >= $first AND time_utc < $end
)
SELECT kept.tag, kept.time_utc, kept.next_utc
FROM kept JOIN refused USING (tag, time_utc)
WHERE kept.quality = $bad AND NOT EXISTS (
  SELECT 1 FROM corrections_applied c WHERE c.kind = 'reading' AND c.subject = kept.tag AND c.time_utc = kept.time_utc AND c.corrected_quality < $bad)
ORDER BY kept.tag, kept.time_utc
"""


@dataclass(frozen=True)
class Spans:
    """Disjoint spans in order, each under one reading out of range; seconds since 1970."""

    starts: Values
    ends: Values

    def seconds_in(self, day: LineDay) -> Values:
        """Return for each minute of a day the seconds that lie under a reading out of range, taken on that day."""
        edges = day.start.timestamp() + 60.0 * np.arange(day.minutes + 1)
        own = self.starts >= edges[0]
        starts, ends = self.starts[own], self.ends[own]
        if len(starts) == 0:
            return np.zeros(day.minutes)
        before = np.concatenate(([0.0], np.cumsum(ends - starts)))
        passed = np.interp(edges, np.column_stack((starts, ends)).ravel(), np.repeat(before, 2)[1:-1])
        return np.diff(passed)


def out_of_range(store: Store, plant_file: PlantFile, first: datetime, end: datetime) -> Mapping[tuple[str, str], Spans]:
    """Return (line, role) -> spans under readings out of range, from `first` to before `end`.

    A reading stands until the next one of its tag, at most for the hold limit of its signal.
    """
    tags = sorted({s.tag for s in plant_file.signals})
    rows = store.frame(_SQL, tags=tags, reasons=list(REASONS), first=first, end=end, bad=BAD)
    found: dict[tuple[str, str], Spans] = {}
    for signal in plant_file.signals if rows.height else ():
        since, until = instant_span(plant_file, signal)
        of_signal = rows.filter((pl.col("tag") == signal.tag) & (pl.col("time_utc") >= since) & (pl.col("time_utc") < until))
        if of_signal.height == 0:
            continue
        starts = of_signal["time_utc"].dt.timestamp("us").to_numpy() / 1e6
        following = of_signal["next_utc"].dt.timestamp("us").cast(pl.Float64).fill_null(np.inf).to_numpy() / 1e6
        ends = np.minimum(following, starts + signal.hold_us / 1e6)
        known = found.get((signal.line, signal.role))
        found[signal.line, signal.role] = Spans(starts, ends) if known is None else _joined(known, Spans(starts, ends))
    return found


def steps_back(store: Store, first: datetime, end: datetime) -> list[tuple[datetime, str, int, float]]:
    """Return (time, file name, steps, largest step [s]) of files whose rows went back in time, from `first` to before `end`."""
    return store.rows(
        "SELECT s.first_step_utc, l.file_name, s.step_count, s.largest_step_s FROM clock_steps s JOIN loads l USING (load_id) "
        "WHERE s.first_step_utc >= $first AND s.first_step_utc < $end ORDER BY s.first_step_utc, l.file_name, s.load_id",
        {"first": first, "end": end},
    )


def _joined(a: Spans, b: Spans) -> Spans:
    """Return the spans of two signals that had a role one after the other, in order of time."""
    starts, ends = np.concatenate((a.starts, b.starts)), np.concatenate((a.ends, b.ends))
    order = np.argsort(starts, kind="stable")
    starts, ends = starts[order], ends[order]
    return Spans(starts, np.minimum(ends, np.append(starts[1:], np.inf)))


def minutes_without_reading(said: Said, plant_file: PlantFile, day: LineDay, role: str, minute: int) -> int:
    """Return how many minutes of the day before a minute lacked a reading of a role.

    They begin when the next reading was due, one spacing of the last two after the last, be they of the day before. 0 when the
    last thing said was that the value is bad: then it is unknown since that reading. Without any reading on the day all its
    minutes count.
    """
    signal = signal_on(plant_file, day.line.id, role, day.start)
    if signal is None:
        return 0
    found = said.of_day(signal.tag, day, limits.LONGEST_HOLD)
    end = int(np.searchsorted(found.at, minute))
    if end == 0 or found.at[end - 1] < 0:
        return minute
    last = float(found.at[end - 1])
    due = last + (last - float(found.at[end - 2])) if end > 1 else last
    return 0 if np.isnan(found.value[end - 1]) else max(0, int(minute - due))
