"""Sort readings as stored, by tag, time, line; and their span of time."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray


def _columns(rows: pl.DataFrame) -> tuple[NDArray[np.unsignedinteger], NDArray[np.int64]]:
    """Return tag code and time [us] of each row."""
    return rows["tag"].to_physical().to_numpy(), rows["time_utc"].to_physical().to_numpy()


def widened(first: datetime | None, last: datetime | None, times: pl.Series) -> tuple[datetime | None, datetime | None]:
    """Return a span of time made wide enough for a column of times."""
    low, high = times.min(), times.max()
    if not isinstance(low, datetime) or not isinstance(high, datetime):
        return first, last
    return low if first is None else min(first, low), high if last is None else max(last, high)


def in_order(rows: pl.DataFrame) -> tuple[pl.DataFrame, bool]:
    """Sort by tag (Enum), time_utc and line_no, at no cost when it is so already; tell whether a tag and time occur twice."""
    code, times = _columns(rows)
    if _rises(code, times):
        return rows, False
    ordered = by_key(rows)
    return (ordered, False) if _rises(*_columns(ordered)) else (ordered.sort("tag", "time_utc", "line_no"), True)


def _rises(code: NDArray[np.unsignedinteger], times: NDArray[np.int64]) -> bool:
    stays = np.flatnonzero(times[1:] <= times[:-1])  # a rise in time needs no look at the tag unless that falls
    return bool((code[1:] >= code[:-1]).all()) and bool((code[stays + 1] > code[stays]).all())


def by_key(rows: pl.DataFrame) -> pl.DataFrame:
    """Sort by tag and time, rows of equal key staying in their order.

    One whole-number key sorts three times as fast as two columns; it is used where it fits 63 bits.
    """
    if rows.height < 2:
        return rows
    code, times = _columns(rows)
    low, high = int(times.min()), int(times.max())
    if (high - low + 1) * (int(code.max()) + 1) >= 2**63:
        return rows.sort("tag", "time_utc", maintain_order=True)
    key = code.astype(np.int64) * (high - low + 1) + (times - low)
    return rows[pl.Series(np.argsort(key, kind="stable"))]
