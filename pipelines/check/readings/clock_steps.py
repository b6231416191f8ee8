"""Rows of a file that go back in time: counted here, judged by `watch`; the rows are kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines.store import Store
from schemas import TABLES

BACK_US = 1_000_000  # rows may go back by a second: logger and writer round differently (common practice, no source)


@dataclass(frozen=True)
class StepsBack:
    """Steps back in time of one piece of a file: time before the first one [us], distinct steps, the largest [us]."""

    first_us: int
    count: int
    largest_us: int


def steps_back(code: NDArray[np.integer], times: NDArray[np.int64], no_time: int) -> StepsBack | None:
    """Return the steps at which a tag's time goes back from one row to the next; None without any.

    `code` tag of each row, rows of a tag together and in the order of the file; `times` [us], `no_time` where unreadable.
    Tags whose rows mostly go back are written newest first; for them the steps forwards are counted.
    """
    falls = np.flatnonzero(times[1:] < times[:-1])
    within = falls[code[falls] == code[falls + 1]]
    if not len(within):
        return None  # each tag rises: nothing more to look at
    good = times != no_time
    code, times = code[good], times[good]
    pairs, change = code[1:] == code[:-1], np.diff(times)
    back, on = pairs & (change < -BACK_US), pairs & (change > BACK_US)
    if back.sum() > on.sum():
        back = on
    at = np.flatnonzero(back)
    if not len(at):
        return None
    return StepsBack(int(times[at].min()), len(np.unique(times[at])), int(np.abs(change[at]).max()))


def write(store: Store, load_id: str, found: Sequence[StepsBack]) -> None:
    """Write the clock-step row of a load, from its pieces."""
    if not found:
        return
    row = {
        "plant": [store.plant], "load_id": [load_id], "first_step_utc": [min(s.first_us for s in found)],
        "step_count": [sum(s.count for s in found)], "largest_step_s": [max(s.largest_us for s in found) / 1e6],
    }  # fmt: skip
    frame = pl.DataFrame(row).with_columns(pl.col("first_step_utc").cast(pl.Datetime("us", "UTC")), pl.col("step_count").cast(pl.Int32))
    store.append("clock_steps", frame.select(TABLES["clock_steps"].column_names))
