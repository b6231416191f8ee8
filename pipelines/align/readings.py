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
LONGEST_REACH = timedelta(minutes=30)  # no line reaches further back, and no register increment unless its signal says so

# Numbers of tags instead of their texts: a fifteenth of the time for millions of rows.
_WITHIN = "FROM packed_readings WHERE list_contains($tags, tag_no) AND time_utc BETWEEN"
_SQL = f"""
SELECT tag_no, time_utc, value, quality {_WITHIN} $first AND $last
UNION ALL
SELECT tag_no, max(time_utc), arg_max_null(value, time_utc), arg_max(quality, time_utc) {_WITHIN} $back AND $before GROUP BY tag_no
UNION ALL
SELECT tag_no, min(time_utc), arg_min_null(value, time_utc), arg_min(quality, time_utc) {_WITHIN} $end AND $ahead GROUP BY tag_no
"""
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


def of_range(store: Store, tags: Sequence[str], first: datetime, end: datetime, ahead: timedelta = LONGEST_REACH) -> Mapping[str, Series]:
    """Return tag -> readings in [first, end), with the last within the longest hold before and the first within `ahead` after."""
    if not tags:
        return {}
    first, end = first.astimezone(UTC), end.astimezone(UTC)
    known = dict(store.rows("SELECT tag, tag_no FROM tag_numbers"))
    numbers = [known.get(tag, -1) for tag in tags]
    found = store.frame(
        _SQL, tags=numbers, first=first, last=end - _TICK, back=first - LONGEST_HOLD, before=first - _TICK, end=end, ahead=end + ahead
    )  # fmt: skip
    return _by_tag(found, tags, numbers)


def _by_tag(found: pl.DataFrame, tags: Sequence[str], numbers: Sequence[int]) -> dict[str, Series]:
    """Split rows (tag_no, time_utc, value, quality; in any order) into one sorted series a tag."""
    code = found["tag_no"].to_numpy()
    t = found["time_utc"].to_physical().to_numpy()
    v = found["value"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    q = found["quality"].to_numpy()
    order = np.argsort(code.astype(np.uint16) if len(code) and code.max() < 2**16 else code, kind="stable")  # radix sort of small numbers
    ordered = code[order]
    first, last = np.searchsorted(ordered, numbers), np.searchsorted(ordered, numbers, side="right")
    series = {}
    for i, tag in enumerate(tags):
        rows = order[first[i] : last[i]]
        times = t[rows]
        if (times[1:] <= times[:-1]).any():
            rows = rows[np.argsort(times, kind="stable")]
            times = t[rows]
        series[tag] = Series(times, v[rows], q[rows])
    return series
