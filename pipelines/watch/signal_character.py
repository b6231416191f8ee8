"""Characteristics of a signal: clipped, zero offset, negative, set-point, held values, register beside its meter.

Pure rules over contiguous minutes or the readings of a day. Limits are common practice without a source unless marked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.watch.episodes import Episode, Mask, Values, episodes, runs
from pipelines.watch.rules import Linked, Series

ZERO_NOISE = 0.001  # of the span: less below zero is the noise of a meter at zero
LINKED_SPAN = 0.03  # of its span: a linked signal that moved by more has moved
CLIPPED_SHARE = 0.995  # of the span, from its low end: at or above it a reading is pinned
CLIPPED_MIN = 6  # [min] more than five
SETTLED_MIN = 30  # [min] stopped for longer than this, a flow meter reads its zero
OFFSET_LEAST_MIN = 30  # [min] of settled minutes that make an offset (rule of this project)
OFFSET_SHARE = 0.01  # of the span: a larger offset is worth a zero check
SAME = 1e-9  # of the span: minute means of one held value differ by their last digits (rule of this project)
SETPOINT_MIN = 60  # distinct minutes with a reading
REPEAT_LEAST_MIN = 120  # [min] of processing that make a share of repeats (rule of this project)
REPEAT_SHARE = 0.5  # of the readings: as many exact repeats and more are held, not measured (rule of this project)
JUMP_STEPS = 3.0  # median jump over the finest step: a measured signal that repeats itself moves by its finest step (rule of this project)
DISTINCT_LEAST = 10  # distinct values that show the finest step (rule of this project)
BLOCKS_LEAST = 10  # blocks of repeats: one frozen hour is not a grid of held values (rule of this project)
GRID_SHARE = 0.8  # of the steps between readings equal their median: a fixed grid (rule of this project)
MOVED_SHARE = 0.5  # of the repeated minutes in which a linked signal moved (rule of this project)
RATIO_LEAST_MIN = 120  # [min] that make a ratio of register to meter (rule of this project)
RATIO = (0.97, 1.03)  # daily register over integral of the rate


def clipped(series: Series, low: float, span: float) -> tuple[int, list[Episode]]:
    """Return how many minutes lie at the top of the range, and the episodes of more than five of them."""
    pinned = series.known & (series.values >= low + CLIPPED_SHARE * span)
    return int(pinned.sum()), episodes(pinned, CLIPPED_MIN)


def settled(stopped: Mask) -> Mask:
    """Return the minutes of each stop after its first 30, when the line is drained, and before its last 30.

    A mean over a quarter of an hour or more may hold the start that follows.
    """
    out = np.zeros(len(stopped), dtype=bool)
    for first, end in runs(stopped):
        last = end if end == len(stopped) else end - SETTLED_MIN
        out[first + SETTLED_MIN : max(last, first + SETTLED_MIN)] = True
    return out


def zero_offset(series: Series, quiet: Mask) -> float | None:
    """Return the median of a flow over settled minutes [unit of the flow]; None below 30 of them."""
    seen = series.values[series.known & quiet]
    return float(np.median(seen)) if len(seen) >= OFFSET_LEAST_MIN else None


def below_zero(series: Series, running: Mask, span: float) -> tuple[Mask, float]:
    """Return the running minutes with a flow below zero and their volume [m3] that totals count as zero.

    No minute when none lies below 0.1 % of the span: that is the noise of a meter at zero.
    """
    negative = series.known & running & (series.values < 0.0)
    if not (series.values[negative] < -ZERO_NOISE * span).any():
        return np.zeros(len(running), dtype=bool), 0.0
    return negative, float(-series.values[negative].sum() / 60.0)


def moved(linked: list[Linked], where: Mask) -> bool:
    """Return whether any linked signal moved by more than 3 % of its span within some minutes."""
    for other in linked:
        seen = other.series.values[where & other.series.known]
        if len(seen) and float(seen.max() - seen.min()) > LINKED_SPAN * other.span:
            return True
    return False


def stands(series: Series, processing: Mask, span: float) -> bool:
    """Return whether a signal did not vary at all over its known processing minutes, 60 or more."""
    seen = series.values[series.known & processing]
    return len(seen) >= SETPOINT_MIN and bool(seen.max() - seen.min() <= SAME * span)


def repeats(series: Series, judged: Mask, span: float) -> tuple[Mask, float | None]:
    """Return the judged minutes that repeat the one before to the digit, and their share; None below 120 judged pairs."""
    known = series.known & judged
    pairs = np.append(False, known[1:] & known[:-1])
    again = pairs & (np.abs(np.diff(series.values, prepend=np.nan)) <= SAME * span)
    count = int(pairs.sum())
    return again, float(again.sum() / count) if count >= REPEAT_LEAST_MIN else None


@dataclass(frozen=True)
class Readings:
    """Readings of one tag on one day that hold a value: minutes from the start of the day, values."""

    at: Values
    value: Values

    def within(self, minutes: Mask) -> Readings:
        """Return those that lie in some minutes of the day."""
        place = np.clip(self.at.astype(np.int64), 0, len(minutes) - 1)
        chosen = minutes[place] & (self.at >= 0) & (self.at < len(minutes))
        return Readings(self.at[chosen], self.value[chosen])

    @property
    def distinct_minutes(self) -> int:
        return len(np.unique(np.floor(self.at)))


def is_held_grid(readings: Readings, span: float) -> bool:
    """Return whether readings are held values of a log of changes on a fixed grid.

    Half of them or more repeat the one before exactly, in many blocks, and where they move they jump by several of the
    finest steps the values are written in: measured on this grid, a value that repeats itself so often would creep.
    """
    value, steps = readings.value, np.diff(readings.at)
    if len(value) < REPEAT_LEAST_MIN or np.isclose(steps, np.median(steps), rtol=0, atol=1e-6).mean() < GRID_SHARE:
        return False
    jump = np.abs(np.diff(value))
    same = jump <= SAME * span
    levels = np.unique(value)
    if same.mean() < REPEAT_SHARE or len(levels) < DISTINCT_LEAST or len(runs(same)) < BLOCKS_LEAST:
        return False
    apart = np.diff(levels)
    return bool(np.median(jump[~same]) >= JUMP_STEPS * apart[apart > SAME * span].min(initial=np.inf))


def others_moved(linked: list[Linked], repeated: Mask) -> bool:
    """Return whether a linked signal changed in half or more of the minutes in which this one repeated itself."""
    for other in linked:
        again, _ = repeats(other.series, repeated | np.append(repeated[1:], False), other.span)
        seen = repeated & other.series.known
        if seen.any() and 1.0 - again[seen].mean() >= MOVED_SHARE:
            return True
    return False


def register_ratio(increment: Series, rate: Series, running: Mask) -> float | None:
    """Return increments over the integral of the meter [m3/m3], running minutes with both known; None below 120 or without flow."""
    both: NDArray[np.bool_] = increment.known & rate.known & running
    volume = float(rate.values[both].sum() / 60.0)
    return float(increment.values[both].sum()) / volume if both.sum() >= RATIO_LEAST_MIN and volume > 0 else None
