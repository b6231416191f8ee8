"""Read what a range of minutes needs, by tag: the readings within it, the last before it, the first after it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines.plant import limits
from pipelines.store.plant_store import Store

Times = NDArray[np.int64]  # [us]
Values = NDArray[np.float64]
Codes = NDArray[np.uint8]  # 0 good, 1 uncertain, 2 bad

_FEW_ROWS = 16  # rows of a slice on average; below this, rows are gathered one by one

# Tag numbers instead of tag names: 15 times faster for millions of rows.
_WITHIN = "FROM packed_readings WHERE list_contains($tags, tag_no) AND time_utc BETWEEN"
_SQL = f"""
SELECT tag_no, time_utc, value, quality {_WITHIN} $first AND $last
UNION ALL
SELECT tag_no, max(time_utc), arg_max_null(value, time_utc), arg_max(quality, time_utc) {_WITHIN} $back AND $before GROUP BY tag_no
UNION ALL
SELECT tag_no, min(time_utc), arg_min_null(value, time_utc), arg_min(quality, time_utc) {_WITHIN} $end AND $ahead GROUP BY tag_no
"""
_OVERLAY = (
    "SELECT list_position($tags, subject) AS place, time_utc, corrected_value, corrected_quality FROM corrections_applied "
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


def of_range(
    store: Store, tags: Sequence[str], first: datetime, end: datetime, ahead: timedelta = limits.LONGEST_REACH
) -> Mapping[str, Series]:
    """Return tag -> readings in [first, end), with the last within the longest hold before and the first within `ahead` after."""
    if not tags:
        return {}
    first, end = first.astimezone(UTC), end.astimezone(UTC)
    known = dict(store.rows("SELECT tag, tag_no FROM tag_numbers"))
    numbers = [known.get(tag, -1) for tag in tags]
    found = store.frame(
        _SQL, tags=numbers, first=first, last=end - _TICK, back=first - limits.LONGEST_HOLD, before=first - _TICK, end=end, ahead=end + ahead
    )  # fmt: skip
    return _by_tag(_corrected(store, found, tags, numbers, first - limits.LONGEST_HOLD, end + ahead), tags, numbers)


def _corrected(
    store: Store, found: pl.DataFrame, tags: Sequence[str], numbers: Sequence[int], first: datetime, last: datetime
) -> pl.DataFrame:
    """Replace readings by their corrected values; the stored readings are not changed."""
    overlay = store.frame(_OVERLAY, tags=list(tags), first=first, last=last)
    if overlay.height == 0:
        return found
    number = pl.Series("tag_no", list(numbers), dtype=pl.Int32).gather(overlay["place"] - 1)
    joined = found.join(overlay.with_columns(number), on=["tag_no", "time_utc"], how="left", maintain_order="left")
    is_corrected = pl.col("corrected_quality").is_not_null()
    return joined.select(
        "tag_no",
        "time_utc",
        value=pl.when(is_corrected).then("corrected_value").otherwise("value"),
        quality=pl.coalesce("corrected_quality", "quality"),
    )


def _by_tag(found: pl.DataFrame, tags: Sequence[str], numbers: Sequence[int]) -> dict[str, Series]:
    """Split rows (tag_no, time_utc, value, quality; any order) into one sorted series a tag."""
    code = found["tag_no"].to_numpy()
    t = found["time_utc"].to_physical().to_numpy()
    v = found["value"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    q = found["quality"].to_numpy()
    series = {}
    places = _places(code, numbers)
    for tag, rows in zip(tags, places, strict=True):
        times = _taken(t, rows)
        at = np.argsort(times, kind="stable") if (times[1:] <= times[:-1]).any() else slice(None)
        series[tag] = Series(times[at], _taken(v, rows)[at], _taken(q, rows)[at])
    return series


def _places(code: NDArray[np.int32], numbers: Sequence[int]) -> list[list[slice] | NDArray[np.intp]]:
    """Return the row positions of each tag number, as slices (the store keeps a tag's rows of a load together) or one by one."""
    edges = [0, *(np.flatnonzero(code[1:] != code[:-1]) + 1).tolist(), len(code)]
    if len(edges) * _FEW_ROWS < len(code):
        stretches: dict[int, list[slice]] = {number: [] for number in numbers}
        for first, end in pairwise(edges):
            stretches[int(code[first])].append(slice(first, end))
        return [stretches[number] for number in numbers]
    order = np.argsort(code, kind="stable")
    ordered = code[order]
    bounds = np.searchsorted(ordered, numbers), np.searchsorted(ordered, numbers, side="right")
    return [order[first:end] for first, end in zip(*bounds, strict=True)]


def _taken(column: NDArray[Any], rows: list[slice] | NDArray[np.intp]) -> NDArray[Any]:
    if isinstance(rows, list):
        return np.concatenate([column[part] for part in rows]) if rows else column[:0]
    return column[rows]
