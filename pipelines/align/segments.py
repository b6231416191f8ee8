"""Time weighting of irregular readings over given intervals: the numeric kernel of the align step.

A series becomes stretches (time spans over which its value is known: held, or on a straight line), stretches are cut
at the interval edges into pieces, and each interval adds up its own pieces in time order. No sum runs past an edge, so
an interval's figures depend on the readings near it alone, bit for bit, wherever the time axis is cut.

Vocabulary after OPC 10000-13 (Aggregates), simple bounding values; `tests/published/aggregates.py` compares the same functions with the published example tables.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.store.reading_series import Codes, Times, Values
from schemas.vocabulary import BAD, GOOD

__all__ = ["Codes", "Stretches", "Times", "Truth", "Values", "Weighted", "averaged", "cut", "inside", "stretches"]

Truth = NDArray[np.bool_]
Places = NDArray[np.intp]

FOREVER_US = 1 << 62  # later than any reading, and far from overflow when a hold limit is added


@dataclass(frozen=True)
class Stretches:
    """Where a series is known: start and end [us], values there, certain as a whole, certain at its start.

    Sorted, not overlapping, none empty. The two certainties differ where a good reading is followed by one that is not:
    the line between them is uncertain, the reading itself is not.
    """

    start: Times
    end: Times
    value_start: Values
    value_end: Values
    is_certain: Truth
    starts_certain: Truth

    def __len__(self) -> int:
        return len(self.start)


@dataclass(frozen=True)
class Pieces:
    """Stretches cut at interval edges, in time order: interval number, start, end [us], values there, stretch number."""

    interval: Places
    start: Times
    end: Times
    value_start: Values
    value_end: Values
    stretch: Places


@dataclass(frozen=True)
class Weighted:
    """Per interval: integral of the value over its known time [unit us]; good and uncertain time [us]."""

    integral: Values
    good_us: Values
    uncertain_us: Values

    @property
    def known_us(self) -> Values:
        return self.good_us + self.uncertain_us

    @property
    def mean(self) -> Values:
        """Return the time-weighted mean over the known time; nan where nothing is known."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(self.known_us > 0, self.integral / self.known_us, np.nan)


@dataclass(frozen=True)
class Inside:
    """Per interval, of the readings within it that were chosen: how many, lowest, highest, place of first and last.

    Without any: 0, nan, nan, -1, -1.
    """

    count: Places
    minimum: Values
    maximum: Values
    first: Places
    last: Places


def usable(v: Values, q: Codes) -> Truth:
    """Return which readings carry a value: not bad, and finite."""
    fine: Truth = (q != BAD) & np.isfinite(v)
    return fine


def stretches(t: Times, v: Values, q: Codes, *, stepped: bool, hold_us: int | Times | None) -> Stretches:
    """Return the stretches in which a series is known, by simple bounding values.

    `t` strictly increasing [us]; `v` in any unit; `q` quality codes. Stepped: a value holds to the next reading, the last
    one on, never longer than `hold_us` (one, or one a reading) after its reading. Sloped: a straight line to the next reading; before a bad one
    the value holds, uncertain; a gap longer than `hold_us`, and what follows the last reading, is unknown.
    A bad reading ends the value before it.
    """
    fine, good = usable(v, q), q == GOOD
    if stepped:
        following = np.append(t[1:], FOREVER_US)[: len(t)]
        until = following if hold_us is None else np.minimum(following, t + hold_us)
        if fine.all():
            return Stretches(t, until, v, v, good, good)
        held = v[fine]
        return Stretches(t[fine], until[fine], held, held, good[fine], good[fine])
    keep = fine[:-1].copy()
    if hold_us is not None:
        keep &= np.diff(t) <= hold_us
    target = np.where(fine[1:], v[1:], v[:-1])
    certain = good[:-1] & good[1:] & fine[1:]
    return Stretches(t[:-1][keep], t[1:][keep], v[:-1][keep], target[keep], certain[keep], good[:-1][keep])


def cut(known: Stretches, edges: Times) -> Pieces:
    """Cut stretches at the edges of consecutive intervals; `edges` has n+1 increasing instants [us] for n intervals.

    Parts outside the edges are dropped. Values at a cut are interpolated within the stretch, so they do not depend on the other edges.
    """
    first = np.maximum(_interval_of(known.start, edges, "left"), 0)
    last = np.minimum(_interval_of(known.end, edges, "right"), len(edges) - 2)
    count = np.maximum(last - first + 1, 0)
    if (count == 1).all():
        owner, interval = np.arange(len(known)), first
    else:
        owner = np.repeat(np.arange(len(known)), count)
        before = np.cumsum(count) - count  # whole numbers: positions, not values
        interval = np.arange(len(owner)) + (first - before)[owner]
    lo, hi = known.start[owner], known.end[owner]
    start, end = np.maximum(lo, edges[interval]), np.minimum(hi, edges[interval + 1])
    v0, v1 = known.value_start[owner], known.value_end[owner]
    if known.value_end is known.value_start:
        return Pieces(interval, start, end, v0, v0, owner)
    slope = (v1 - v0) / (hi - lo).astype(np.float64)
    at_end = np.where(end == hi, v1, v0 + slope * (end - lo))
    return Pieces(interval, start, end, v0 + slope * (start - lo), at_end, owner)


def _interval_of(times: Times, edges: Times, owns: str) -> Places:
    """Return the interval of each of sorted times; an edge belongs to the one after ("left") or before ("right") it.

    -1 before the first edge, n from the last one on. Looks up the edges among the times: there are fewer of them.
    """
    below = np.searchsorted(times, edges, side="left" if owns == "left" else "right")
    sizes = np.diff(below, prepend=0, append=len(times))
    return np.repeat(np.arange(-1, len(edges)), sizes)


def weigh(pieces: Pieces, known: Stretches, n: int) -> Weighted:
    """Add up the pieces of each of `n` intervals, in time order."""
    width = (pieces.end - pieces.start).astype(np.float64)
    mean = pieces.value_start if pieces.value_end is pieces.value_start else 0.5 * (pieces.value_start + pieces.value_end)
    integral, total = add_up(pieces, mean * width, n), add_up(pieces, width, n)
    if known.is_certain.all():
        return Weighted(integral, total, np.zeros(n))
    unsure = add_up(pieces, width * ~known.is_certain[pieces.stretch], n)
    return Weighted(integral, total - unsure, unsure)  # whole microseconds: exact


def add_up(pieces: Pieces, amount: Values, n: int) -> Values:
    """Return the sum of the amounts of each interval's pieces; bincount adds in their order, interval by interval."""
    return np.bincount(pieces.interval, weights=amount, minlength=n).astype(np.float64, copy=False)


def averaged(known: Stretches, edges: Times) -> Weighted:
    """Return integral and known time of each interval between consecutive edges."""
    return weigh(cut(known, edges), known, len(edges) - 1)


def inside(t: Times, v: Values, chosen: Truth, edges: Times) -> Inside:
    """Return count, lowest, highest, first and last of the chosen readings of each interval [edge, next edge)."""
    n = len(edges) - 1
    places = np.flatnonzero(chosen & (t >= edges[0]) & (t < edges[-1]))
    begin, end = np.searchsorted(t[places], edges[:-1]), np.searchsorted(t[places], edges[1:])
    count = end - begin
    some = count > 0
    low, high, first, last = np.full(n, np.nan), np.full(n, np.nan), np.full(n, -1), np.full(n, -1)
    if some.any():  # intervals without readings add no boundary to reduceat
        low[some] = np.minimum.reduceat(v[places], begin[some])
        high[some] = np.maximum.reduceat(v[places], begin[some])
        first[some], last[some] = places[begin[some]], places[end[some] - 1]
    return Inside(count, low, high, first, last)
