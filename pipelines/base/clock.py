"""The only place where the wall clock is read."""

from __future__ import annotations

import time
from datetime import UTC, datetime


def now_utc() -> datetime:
    """Return the current time, timezone-aware UTC, cut to whole seconds."""
    return datetime.now(UTC).replace(microsecond=0)


def in_utc(as_of: datetime | None) -> datetime:
    """Return a timezone-aware instant in UTC; None is now."""
    return now_utc() if as_of is None else as_of.astimezone(UTC)


def stopwatch() -> float:
    """Return a monotonic reading [s]; differences of two are durations."""
    return time.perf_counter()


def wait(seconds: float) -> None:
    """Sleep."""
    time.sleep(seconds)
