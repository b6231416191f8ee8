"""The readings that a range of minutes needs, by tag: those within it, the last before it, the first after it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from pipelines.align.segments import Codes, Times, Values
from pipelines.store import Store

LONGEST_HOLD = timedelta(hours=24)  # no value is held longer; `check` marks so many hours after a reading
LONGEST_REACH = timedelta(minutes=30)  # no line or register increment reaches further back; `check` marks so much before

# Codes of tags instead of their texts: a fifteenth of the time for millions of rows.
_WANTED = "list_position($tags, tag)::USMALLINT"
_WITHIN = "FROM readings WHERE list_contains($tags, tag) AND time_utc BETWEEN"
_SQL = f"""
SELECT {_WANTED} AS code, time_utc, value, quality {_WITHIN} $first AND $last
UNION ALL
SELECT {_WANTED}, max(time_utc), arg_max_null(value, time_utc), arg_max(quality, time_utc) {_WITHIN} $back AND $before GROUP BY tag
UNION ALL
SELECT {_WANTED}, min(time_utc), arg_min_null(value, time_utc), arg_min(quality, time_utc) {_WITHIN} $end AND $ahead GROUP BY tag
"""
_OVERLAY = (
    "SELECT list_position($tags, subject)::USMALLINT AS code, time_utc, corrected_value, corrected_quality FROM corrections_applied "
    "WHERE kind = 'reading' AND list_contains($tags, subject) AND time_utc BETWEEN $first AND $last"
)
_TICK = timedelta(microseconds=1)


@dataclass(frozen=True)
class Series:
    """Readings of one tag: strictly increasing times [us], values (nan without), quality codes."""

    t: Times
    v: Values
    q: Codes

    def between(self, first_us: int, end_us: int) -> Series:
        """Return the readings in [first, end)."""
        part = slice(*np.searchsorted(self.t, [first_us, end_us]))
        return Series(self.t[part], self.v[part], self.q[part])


NOTHING = Series(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=np.uint8))


def of_range(store: Store, tags: Sequence[str], first: datetime, end: datetime) -> Mapping[str, Series]:
    """Return tag -> readings in [first, end), with the last within the longest hold before and the first soon after."""
    if not tags:
        return {}
    first, end = first.astimezone(UTC), end.astimezone(UTC)
    found = store.frame(
        _SQL, tags=list(tags), first=first, last=end - _TICK, back=first - LONGEST_HOLD, before=first - _TICK, end=end, ahead=end + LONGEST_REACH
    )  # fmt: skip
    return _by_tag(_corrected(store, found, tags, first - LONGEST_HOLD, end + LONGEST_REACH), tags)


def _corrected(store: Store, found: pl.DataFrame, tags: Sequence[str], first: datetime, last: datetime) -> pl.DataFrame:
    """Put what counts by corrections and decisions in the place of what came; the readings of the store stay as they are."""
    overlay = store.frame(_OVERLAY, tags=list(tags), first=first, last=last)
    if overlay.height == 0:
        return found
    joined = found.join(overlay, on=["code", "time_utc"], how="left", maintain_order="left")
    is_corrected = pl.col("corrected_quality").is_not_null()
    return joined.select(
        "code",
        "time_utc",
        value=pl.when(is_corrected).then("corrected_value").otherwise("value"),
        quality=pl.coalesce("corrected_quality", "quality"),
    )


def _by_tag(found: pl.DataFrame, tags: Sequence[str]) -> dict[str, Series]:
    """Split rows (code from 1, time_utc, value, quality; in any order) into one sorted series a tag."""
    code = found["code"].to_numpy()
    t = found["time_utc"].to_physical().to_numpy()
    v = found["value"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    q = found["quality"].to_numpy()
    order = np.argsort(code, kind="stable")  # radix sort: quick for small whole numbers
    bounds = np.searchsorted(code[order], np.arange(1, len(tags) + 2))
    series = {}
    for number, tag in enumerate(tags):
        rows = order[bounds[number] : bounds[number + 1]]
        times = t[rows]
        if (times[1:] <= times[:-1]).any():
            rows = rows[np.argsort(times, kind="stable")]
            times = t[rows]
        series[tag] = Series(times, v[rows], q[rows])
    return series
