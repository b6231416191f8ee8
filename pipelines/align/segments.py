"""Time weighting of irregular readings over given intervals: the numeric kernel of the align step.

A reading's value is known from its time on: held (stepped) to the next reading, or running straight to it (sloped),
but never longer than the hold limit. A bad reading ends what was known before it. Each interval's figures depend on
the pieces inside it alone, added in time order, so any cut of the time axis gives the same bits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from schemas.vocabulary import BAD, UNCERTAIN

Times = NDArray[np.int64]
Values = NDArray[np.float64]


@dataclass(frozen=True)
class Weighted:
    """Per interval: integral of the value over its known time [unit us], known and uncertain time [us]."""

    integral: Values
    known_us: Values
    uncertain_us: Values

    @property
    def mean(self) -> Values:
        """Return the time-weighted mean over the known time; nan where nothing is known."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(self.known_us > 0, self.integral / self.known_us, np.nan)


@dataclass(frozen=True)
class Pieces:
    """Known stretches cut at the interval edges: interval number, start and end [us], value at both ends, certainty."""

    interval: NDArray[np.intp]
    start: Times
    end: Times
    value_start: Values
    value_end: Values
    uncertain: NDArray[np.bool_]


def pieces(t: Times, v: Values, q: NDArray[np.uint8], edges: Times, *, stepped: bool, hold_us: int | None) -> Pieces:
    """Cut the known stretches of a series at the edges of consecutive intervals.

    `t` strictly increasing [us]; `v` values (ignored where `q` is bad); `edges` n+1 increasing interval bounds.
    """
    a, b, v0, v1, unsure = _stretches(t, v, q, int(edges[-1]), stepped=stepped, hold_us=hold_us)
    inside = (b > edges[0]) & (a < edges[-1]) & (b > a)
    a, b, v0, v1, unsure = a[inside], b[inside], v0[inside], v1[inside], unsure[inside]
    lo, hi = np.maximum(a, edges[0]), np.minimum(b, edges[-1])
    first = np.searchsorted(edges, lo, side="right") - 1
    last = np.searchsorted(edges, hi, side="left") - 1
    count = last - first + 1
    owner = np.repeat(np.arange(len(a)), count)
    offset = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    interval = first[owner] + offset
    start, end = np.maximum(a[owner], edges[interval]), np.minimum(b[owner], edges[interval + 1])
    if stepped:
        return Pieces(interval, start, end, v0[owner], v0[owner], unsure[owner])
    slope = (v1[owner] - v0[owner]) / (b[owner] - a[owner]).astype(np.float64)
    at_start = v0[owner] + slope * (start - a[owner])
    at_end = v0[owner] + slope * (end - a[owner])
    return Pieces(interval, start, end, at_start, at_end, unsure[owner])


def _stretches(
    t: Times, v: Values, q: NDArray[np.uint8], end: int, *, stepped: bool, hold_us: int | None
) -> tuple[Times, Times, Values, Values, NDArray[np.bool_]]:
    """Return start, end, value at start, value at end and certainty of each known stretch."""
    if len(t) == 0:
        none = np.zeros(0)
        return t, t, none, none, np.zeros(0, dtype=bool)
    usable = q != BAD
    following = np.append(t[1:], max(end, int(t[-1])))
    if stepped:
        until = following if hold_us is None else np.minimum(following, t + hold_us)
        return t[usable], until[usable], v[usable], v[usable], (q == UNCERTAIN)[usable]
    both = usable[:-1] & usable[1:]
    if hold_us is not None:
        both &= np.diff(t) <= hold_us
    unsure = (q[:-1] == UNCERTAIN) | (q[1:] == UNCERTAIN)
    return t[:-1][both], t[1:][both], v[:-1][both], v[1:][both], unsure[both]


def weigh(t: Times, v: Values, q: NDArray[np.uint8], edges: Times, *, stepped: bool, hold_us: int | None = None) -> Weighted:
    """Return integral, known and uncertain time of each interval between consecutive edges."""
    cut = pieces(t, v, q, edges, stepped=stepped, hold_us=hold_us)
    width = (cut.end - cut.start).astype(np.float64)
    area = 0.5 * (cut.value_start + cut.value_end) * width if not stepped else cut.value_start * width
    n = len(edges) - 1
    # bincount adds in the order of the pieces, one interval apart from the other
    return Weighted(
        np.bincount(cut.interval, weights=area, minlength=n),
        np.bincount(cut.interval, weights=width, minlength=n),
        np.bincount(cut.interval, weights=width * cut.uncertain, minlength=n),
    )


def spread(t: Times, increment: Values, edges: Times, *, hold_us: int) -> tuple[Values, Values]:
    """Spread register increments evenly between successive readings: (increment, known time [us]) per interval.

    `increment[i]` belongs to the time from t[i-1] to t[i]; nan or a gap longer than the hold limit leaves it unknown.
    """
    if len(t) < 2:
        return np.zeros(len(edges) - 1), np.zeros(len(edges) - 1)
    span = np.diff(t)
    rate = increment[1:] / span.astype(np.float64)
    fine = np.isfinite(rate) & (span <= hold_us)
    quality = np.where(np.append(fine, False), 0, BAD).astype(np.uint8)
    weighted = weigh(t, np.append(np.where(fine, rate, 0.0), 0.0), quality, edges, stepped=True)
    return weighted.integral, weighted.known_us
