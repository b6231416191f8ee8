"""Aggregates of OPC 10000-13 (OPC UA Part 13) over regular intervals, on the kernel the minute grid uses.

The minute grid is TimeAverage2 (simple bounding values, hold limit added): `segments.stretches` says where a value is
known, `segments.averaged` weighs it. TimeAverage uses the same weighing on interpolating bounding values. So the
published example tables check the arithmetic of `minutes`.

Rules where the standard leaves a choice, as the published examples have it: after the last reading its value runs to
the end of the interval that holds it; intervals that lie wholly before the first or after the last reading have no data
(interpolating bounds instead extrapolate on, uncertain); time before the first reading counts as bad.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipelines.align import segments
from pipelines.align.segments import FOREVER_US, Codes, Stretches, Times, Truth, Values
from schemas.vocabulary import BAD, GOOD, UNCERTAIN

_STATUS = {GOOD: "Good", UNCERTAIN: "Uncertain", BAD: "Bad"}
SUBNORMAL, NO_DATA = "UncertainDataSubNormal", "BadNoData"
_SECOND_US, _MS_US = 1e6, 1e3

Result = tuple[float | None, str]  # value (None: no value) and status word


@dataclass(frozen=True)
class Request:
    """A series, the intervals over it, and the configuration of an aggregate.

    `q` is the quality as read; `rated` the same with uncertain made bad where so configured.
    """

    t: Times
    v: Values
    q: Codes
    rated: Codes
    edges: Times
    stepped: bool
    percent_good: float
    percent_bad: float
    use_sloped_extrapolation: bool

    @property
    def n(self) -> int:
        return len(self.edges) - 1

    @property
    def width_us(self) -> Values:
        return np.diff(self.edges).astype(np.float64)

    @property
    def has_data(self) -> Truth:
        """Tell which intervals do not lie wholly before the first or after the last reading."""
        if len(self.t) == 0:
            return np.zeros(self.n, dtype=bool)
        within: Truth = (self.edges[1:] > self.t[0]) & (self.edges[:-1] <= self.t[-1])
        return within


def aggregate(
    times_us: Times,
    values: Values,
    quality: Codes,
    start_us: int,
    end_us: int,
    interval_us: int,
    name: str,
    *,
    stepped: bool,
    treat_uncertain_as_bad: bool,
    percent_good: float,
    percent_bad: float,
    use_sloped_extrapolation: bool,
) -> list[Result]:
    """Return (value, status) of one aggregate for each interval from start to end [us]; the last may be shorter.

    `times_us` strictly increasing; `values` nan where a bad reading has none; `quality` 0 good, 1 uncertain, 2 bad.
    Durations are in ms, Total and Total2 in unit seconds, percents 0 to 100. The status is the word of the status code
    without its information bits. ValueError for an aggregate that is not in AGGREGATES.
    """
    if name not in AGGREGATES:
        raise ValueError(f"aggregate {name!r} is not one of: {', '.join(AGGREGATES)}")
    quality = np.where(np.isfinite(values), quality, BAD).astype(np.uint8)
    rated = np.where((quality == UNCERTAIN) & treat_uncertain_as_bad, BAD, quality).astype(np.uint8)
    edges = np.append(np.arange(start_us, end_us, interval_us, dtype=np.int64), end_us)
    request = Request(times_us, values, quality, rated, edges, stepped, percent_good, percent_bad, use_sloped_extrapolation)
    return AGGREGATES[name](request)


def _results(values: Values, statuses: list[str]) -> list[Result]:
    """Pair values and statuses; bad statuses have no value."""
    return [(None if status.startswith("Bad") else float(value), status) for value, status in zip(values, statuses, strict=True)]


def _by_percent(good: Values, bad: Values, request: Request) -> list[str]:
    """Return statuses from the good and the bad share of each interval (0 to 1): bad first, then good, else uncertain."""
    is_bad, is_good = 100.0 * bad >= request.percent_bad, 100.0 * good >= request.percent_good
    return ["Bad" if b else "Good" if g else SUBNORMAL for b, g in zip(is_bad, is_good, strict=True)]


# --- time-weighted, simple bounding values -----------------------------------------------------------------------


def _simple(request: Request) -> Stretches:
    """Return where the value is known by simple bounds; it ends with the interval that holds the last reading."""
    t, v, q = request.t, request.v, request.rated
    if len(t) and t[-1] < request.edges[-1]:
        stop = request.edges[np.searchsorted(request.edges, t[-1], side="right")]
        t, v, q = np.append(t, stop), np.append(v, np.nan), np.append(q, BAD).astype(np.uint8)
    return segments.stretches(t, v, q, stepped=request.stepped, hold_us=None)


def _time_average2(request: Request, *, total: bool) -> list[Result]:
    weighted = segments.averaged(_simple(request), request.edges)
    bad = 1.0 - weighted.known_us / request.width_us
    statuses = _by_percent(weighted.good_us / request.width_us, bad, request)
    statuses = [status if known else NO_DATA for status, known in zip(statuses, weighted.known_us > 0, strict=True)]
    return _results(weighted.integral / _SECOND_US if total else weighted.mean, statuses)


@dataclass(frozen=True)
class _Durations:
    """Per interval [us]: time that begins good, of it in state zero, and bad time (no data included)."""

    good_us: Values
    zero_us: Values
    bad_us: Values


def _durations(request: Request) -> _Durations:
    """Return good and bad time. A part of an interval counts by the quality at its own start.

    So a good reading's own part is good even where the line to the next reading is not.
    """
    known = _simple(request)
    pieces = segments.cut(known, request.edges)
    at_reading = pieces.start == known.start[pieces.stretch]
    good = np.where(at_reading, known.starts_certain[pieces.stretch], known.is_certain[pieces.stretch])
    width = (pieces.end - pieces.start).astype(np.float64)
    good_us = segments.add_up(pieces, width * good, request.n)
    zero_us = segments.add_up(pieces, width * (good & (pieces.value_start == 0.0)), request.n)
    return _Durations(good_us, zero_us, request.width_us - segments.add_up(pieces, width, request.n))


def _duration(request: Request, *, bad: bool, percent: bool) -> list[Result]:
    found = _durations(request)
    amount = found.bad_us if bad else found.good_us
    values = 100.0 * amount / request.width_us if percent else amount / _MS_US
    return _results(values, ["Good" if some else NO_DATA for some in request.has_data])


def _in_state(request: Request, *, zero: bool) -> list[Result]:
    found = _durations(request)
    statuses = _by_percent(found.good_us / request.width_us, found.bad_us / request.width_us, request)
    statuses = [status if some else NO_DATA for status, some in zip(statuses, request.has_data, strict=True)]
    return _results((found.zero_us if zero else found.good_us - found.zero_us) / _MS_US, statuses)


# --- time-weighted, interpolating bounding values ----------------------------------------------------------------


def _interpolating(request: Request) -> Stretches:
    """Return where the value is known by interpolating bounds: bad readings are bridged, the last one is extrapolated.

    What is bridged, extrapolated or next to an uncertain reading is uncertain.
    """
    fine = segments.usable(request.v, request.rated)
    t, v, good = request.t[fine], request.v[fine], request.rated[fine] == GOOD
    if len(t) == 0 or request.stepped:
        return _bridged_steps(request, fine)
    places = np.flatnonzero(fine)
    certain = np.append(good[:-1] & good[1:] & (np.diff(places) == 1), False)
    end = max(int(request.edges[-1]), int(t[-1]) + 1)
    slope = (v[-1] - v[-2]) / (t[-1] - t[-2]) if request.use_sloped_extrapolation and len(t) > 1 else 0.0
    return Stretches(t, np.append(t[1:], end), v, np.append(v[1:], v[-1] + slope * (end - t[-1])), certain, good)


def _bridged_steps(request: Request, fine: Truth) -> Stretches:
    """Hold each value to the next usable reading; from a bad reading on, and from the last one on, it is uncertain."""
    last_usable = np.maximum.accumulate(np.where(fine, np.arange(len(fine)), -1))
    keep = last_usable >= 0
    held = request.v[last_usable[keep]]
    good = (request.rated == GOOD)[keep]
    certain = good.copy()
    certain[-1:] = False
    return Stretches(request.t[keep], np.append(request.t[1:], FOREVER_US)[: len(fine)][keep], held, held, certain, good)


def _time_average(request: Request, *, total: bool) -> list[Result]:
    weighted = segments.averaged(_interpolating(request), request.edges)
    statuses = []
    for known, good, width in zip(weighted.known_us, weighted.good_us, request.width_us, strict=True):
        statuses.append(NO_DATA if known == 0 else "Good" if good == width else SUBNORMAL)
    return _results(weighted.integral / _SECOND_US if total else weighted.mean, statuses)


def _interpolative(request: Request) -> list[Result]:
    """Return the value at each interval's start: as read, or on the stretch around it."""
    known, at = _interpolating(request), request.edges[:-1]
    exact = np.searchsorted(request.t, at)
    read = (exact < len(request.t)) & np.isin(at, request.t[request.rated != BAD])
    found: list[Result] = []
    for instant, place, is_read in zip(at, exact, read, strict=True):
        if is_read:
            found.append((float(request.v[place]), _STATUS[int(request.rated[place])]))
            continue
        number = int(np.searchsorted(known.start, instant, side="right")) - 1
        if number < 0:
            found.append((None, NO_DATA))
            continue
        span = known.end[number] - known.start[number]
        share = (instant - known.start[number]) / span
        value = known.value_start[number] + share * (known.value_end[number] - known.value_start[number])
        found.append((float(value), "Good" if known.is_certain[number] else SUBNORMAL))
    return found


# --- of the readings within each interval --------------------------------------------------------------------------


def _inside(request: Request, chosen: Truth) -> segments.Inside:
    return segments.inside(request.t, request.v, chosen, request.edges)


def _extreme(request: Request, which: str) -> list[Result]:
    """Return minimum, maximum or range of the good readings; uncertain when a bad one lies in the interval."""
    good, bad = _inside(request, request.q == GOOD), _inside(request, request.rated == BAD).count
    values = good.maximum - good.minimum if which == "range" else good.minimum if which == "minimum" else good.maximum
    return _results(values, [NO_DATA if not g else SUBNORMAL if b else "Good" for g, b in zip(good.count, bad, strict=True)])


def _edge(request: Request, *, last: bool) -> list[Result]:
    """Return the first or last reading of each interval as it is; a bad one has no value."""
    found = _inside(request, np.ones(len(request.t), dtype=bool))
    results: list[Result] = []
    for place in found.last if last else found.first:
        status = NO_DATA if place < 0 else _STATUS[int(request.q[place])]
        results.append((None if status.startswith("Bad") else float(request.v[place]), status))
    return results


def _delta(request: Request) -> list[Result]:
    """Return last less first good reading; 0 and uncertain when the interval's readings are all not good."""
    good, count = _inside(request, request.q == GOOD), _inside(request, np.ones(len(request.t), dtype=bool)).count
    some = good.count > 0
    values = np.zeros(request.n)
    values[some] = request.v[good.last[some]] - request.v[good.first[some]]
    return _results(values, [NO_DATA if not c else "Good" if g == c else SUBNORMAL for g, c in zip(good.count, count, strict=True)])


def _count(request: Request) -> list[Result]:
    """Return how many good readings; the status by the shares of good and bad (as read) among all."""
    good, bad = _inside(request, request.q == GOOD).count, _inside(request, request.q == BAD).count
    count = _inside(request, np.ones(len(request.t), dtype=bool)).count
    all_of = np.maximum(count, 1)
    statuses = [s if c else NO_DATA for s, c in zip(_by_percent(good / all_of, bad / all_of, request), count, strict=True)]
    return _results(good.astype(np.float64), statuses)


AGGREGATES: dict[str, Callable[[Request], list[Result]]] = {
    "Interpolative": _interpolative,
    "TimeAverage": lambda r: _time_average(r, total=False),
    "Total": lambda r: _time_average(r, total=True),
    "TimeAverage2": lambda r: _time_average2(r, total=False),
    "Total2": lambda r: _time_average2(r, total=True),
    "Minimum": lambda r: _extreme(r, "minimum"),
    "Maximum": lambda r: _extreme(r, "maximum"),
    "Range": lambda r: _extreme(r, "range"),
    "Start": lambda r: _edge(r, last=False),
    "End": lambda r: _edge(r, last=True),
    "Delta": _delta,
    "Count": _count,
    "DurationGood": lambda r: _duration(r, bad=False, percent=False),
    "DurationBad": lambda r: _duration(r, bad=True, percent=False),
    "PercentGood": lambda r: _duration(r, bad=False, percent=True),
    "PercentBad": lambda r: _duration(r, bad=True, percent=True),
    "DurationInStateZero": lambda r: _in_state(r, zero=True),
    "DurationInStateNonZero": lambda r: _in_state(r, zero=False),
}
