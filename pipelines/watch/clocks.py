"""Compare run bit and flow: the lag between their edges, and impossible states of the bit.

Times are minutes from the start of the operating day. Limits are common practice without a source unless marked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.watch.episodes import Episode, Mask, Values, episodes, runs
from pipelines.watch.rules import Series

LAG_WARN_S, LAG_HOLD_S = 60.0, 300.0  # above: the clocks differ; above: figures that join run bit and flow do not hold
MATCH_MIN = 30.0  # [min] an edge of the flow this near belongs to an edge of the run bit (rule of this project)
COARSE_MIN = 5  # [min] a flow that is told less often than this cannot date an edge (rule of this project)
PLATEAU_MIN = 3  # minutes beside an edge whose median is the flow before or after it (rule of this project)
STUCK_MIN = 10  # [min]
STUCK_SHARE = 0.10  # of the span: flow and power above it, and the pump runs


@dataclass(frozen=True)
class Lag:
    """How far the flow follows the run bit [s], from `edges` matched edges between two times [min]."""

    seconds: float
    edges: int
    first: float
    last: float


@dataclass(frozen=True)
class Edges:
    """Times [min] at which something began and ended."""

    rising: Values
    falling: Values


def bit_edges(at: Values, on: Values) -> Edges:
    """Return the edges of a run bit from its readings of a day (`at` [min], `on` 1, 0 or nan for bad)."""
    known = np.isfinite(on)
    now, before = (on[1:] >= 0.5) & known[1:], (on[:-1] >= 0.5) & known[:-1]
    both = known[1:] & known[:-1]
    return Edges(at[1:][both & now & ~before], at[1:][both & ~now & before])


def flow_edges(flow: Series, cutoff: float) -> Edges:
    """Return when a flow rose above its cut-off and fell below it.

    A minute is a mean: the share of the flow beside the edge that it shows tells when within the minute the edge lay.
    """
    above, known = flow.values > cutoff, flow.known
    pairs = known[1:] & known[:-1]
    ups = np.flatnonzero(pairs & above[1:] & ~above[:-1]) + 1
    downs = np.flatnonzero(pairs & ~above[1:] & above[:-1]) + 1
    rising = [k + 1.0 - sum(_share(flow, j, k + 1, k + 1 + PLATEAU_MIN) for j in (k - 1, k)) for k in ups.tolist()]
    falling = [k - 1.0 + sum(_share(flow, j, k - 1 - PLATEAU_MIN, k - 1) for j in (k - 1, k)) for k in downs.tolist()]
    return Edges(np.array(rising, dtype=np.float64), np.array(falling, dtype=np.float64))


def _share(flow: Series, minute: int, first: int, end: int) -> float:
    """Return a minute's flow as a share of the median of the minutes [first, end), within 0 to 1; the whole when none is known."""
    part = slice(max(first, 0), max(end, 0))
    seen = flow.values[part][flow.known[part]]
    level = float(np.median(seen)) if len(seen) else 0.0
    value = float(flow.values[minute])
    return min(max(value / level, 0.0), 1.0) if level > 0.0 else float(value > 0.0)


def edge_lag(bit: Edges, flow: Edges) -> Lag | None:
    """Return how far the flow's edges follow those of the run bit; None unless both kinds of edge can be matched.

    A clock that is off shifts starts and stops alike; a slow start or a line that drains shifts one of them. So of the medians
    of the two the smaller counts, and only when they have the same sign.
    """
    up, down = _matched(bit.rising, flow.rising), _matched(bit.falling, flow.falling)
    if not len(up) or not len(down):
        return None
    one, other = float(np.median(up[:, 1])), float(np.median(down[:, 1]))
    minutes = 0.0 if one * other <= 0 else min(one, other, key=abs)
    edges = np.concatenate((up[:, 0], down[:, 0]))
    return Lag(60.0 * minutes, len(edges), float(edges.min()), float(edges.max()))


def _matched(bit: Values, flow: Values) -> NDArray[np.float64]:
    """Return (edge of the bit, lag of the nearest edge of the flow) where there is one near; each edge of the flow counts once."""
    out: dict[float, tuple[float, float]] = {}
    for at in bit if len(flow) else ():
        nearest = float(flow[np.argmin(np.abs(flow - at))])
        lag = nearest - float(at)
        if abs(lag) <= MATCH_MIN and (nearest not in out or abs(lag) < abs(out[nearest][1])):
            out[nearest] = (float(at), lag)
    return np.array(sorted(out.values()), dtype=np.float64).reshape(-1, 2)


def told_each_min(flow: Series, running: Mask) -> float:
    """Return how many minutes one value of a flow typically lasts while running."""
    known = flow.known & running
    changes = [1 + int((np.diff(flow.values[a:b]) != 0).sum()) for a, b in runs(known)]
    return float(known.sum()) / sum(changes) if changes else np.inf


@dataclass(frozen=True)
class Witnesses:
    """Evidence against a run bit: flow below its cut-off with the pump standing; flow, and power or speed, well above nothing."""

    flow: Series
    cutoff: float
    flow_span: float
    speed_standing: Mask
    power: Series
    power_span: float
    turning: Mask


def stuck(bit: Series, seen: Witnesses) -> list[Episode]:
    """Return where the run bit was on with neither flow nor speed, or off with flow and power or speed, for ten minutes or more."""
    idle = bit.known & (bit.values >= 0.5) & seen.flow.below(seen.cutoff) & seen.speed_standing
    flows = seen.flow.known & (seen.flow.values > STUCK_SHARE * seen.flow_span)
    draws = seen.power.known & (seen.power.values > STUCK_SHARE * seen.power_span)
    busy = bit.known & (bit.values < 0.5) & flows & ((draws & (seen.power_span > 0)) | seen.turning)
    out = []
    for holds, says in ((idle, "on"), (busy, "off")):
        for e in episodes(holds, STUCK_MIN):
            facts = {"run_bit": says, "sludge_flow_m3_h": seen.flow.mean(e, holds), "pump_power_kw": seen.power.mean(e, holds)}
            out.append(replace(e, facts=facts))
    return sorted(out, key=lambda e: e.start)


def bit_by_minute(at: Values, on: Values, hold_min: float, minutes: int) -> Series:
    """Return a run bit at the middle of each minute: its last reading, for the hold limit at most."""
    middle = np.arange(minutes) + 0.5
    last = np.searchsorted(at, middle, side="right") - 1
    there = last >= 0
    place = np.where(there, last, 0)
    if not len(at):
        return Series(np.zeros(minutes), np.zeros(minutes, dtype=bool))
    known = there & np.isfinite(on[place]) & (middle - at[place] <= hold_min)
    return Series(np.where(known, on[place], 0.0), known)
