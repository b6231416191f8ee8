"""Rules of process and equipment: series of contiguous minutes in, episodes out. Nothing is deleted or corrected here.

Every limit is common practice without a source; tune it per plant against its own quiet weeks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.watch.episodes import Episode, Mask, Values, episodes, runs
from pipelines.watch.rules import Series

LEFT_ON_MIN = 5  # [min] of polymer without sludge
STARTS_WITHIN_MIN, STARTS_MOST = 60, 4  # more than four starts within an hour
BRIEF_RUN_MIN, BRIEF_RUNS = 10, 3  # [min]; so many runs as short in a day
WASH_SHARE, WASH_MIN = 0.85, 10  # of the usual wash water; [min]
SUCTION_DROP_KPA, SUCTION_MIN = 13.8, 10  # [kPa] (2 psi) below its curve; [min]
SUCTION_FLOW_SHARE = 0.95  # of the median flow of the hour before: the flow must be down too
SUCTION_BEFORE_MIN = 60  # [min]
DEADHEAD_KPA, DEADHEAD_MIN = 138.0, 1  # [kPa] (20 psi) above the usual discharge pressure; [min]
TORQUE_LIMIT_PCT, TORQUE_ABOVE_PCT, TORQUE_MIN = 90.0, 25.0, 5  # of full torque; points above the usual; [min]
STRENGTH_SHARE, STRENGTH_MIN = 0.15, 30  # off the set strength; [min]
SPIKE_WINDOW, SPIKE_SIGMAS, SPIKES_A_DAY = 11, 6.0, 20  # minutes of the median; robust sigmas; more than so many a day are worth a look
SPIKE_LEAST = 0.1  # of the value: smaller excursions are no spikes (rule of this project)
_MAD_SIGMA = 1.4826  # of a normal distribution


def polymer_left_on(feed: Series, feed_cutoff: float, polymer: Series, polymer_cutoff: float, pump_on: Mask) -> list[Episode]:
    """Return where polymer flowed for five minutes or more while no sludge was fed, both meters known and the feed pump off."""
    without = polymer.known & (polymer.values > polymer_cutoff) & feed.below(feed_cutoff) & ~pump_on
    found = episodes(without, LEFT_ON_MIN)
    return [replace(e, facts={"polymer_m3": float(polymer.values[e.start : e.end][without[e.start : e.end]].sum() / 60.0)}) for e in found]


def short_cycling(on: Mask, known: Mask) -> list[Episode]:
    """Return where a pump started more than four times within an hour, or ran for less than ten minutes three times in the series.

    A start stands between two known states, and so do both ends of a short run.
    """
    starts = np.flatnonzero(on[1:] & ~on[:-1] & known[1:] & known[:-1]) + 1
    holds = np.zeros(len(on), dtype=bool)
    for k in range(STARTS_MOST, len(starts)):
        first, last = int(starts[k - STARTS_MOST]), int(starts[k])
        if last - first < STARTS_WITHIN_MIN:
            holds[first : last + 1] = True
    brief = [(a, b) for a, b in runs(on) if b - a < BRIEF_RUN_MIN and a > 0 and b < len(on) and known[a - 1] and known[b]]
    if len(brief) >= BRIEF_RUNS:
        holds[brief[0][0] : brief[-1][1]] = True
    return [replace(e, facts={"starts": int(((starts >= e.start) & (starts < e.end)).sum())}) for e in episodes(holds, 1)]


def wash_water_low(wash: Series, running: Mask, usual_m3_h: float) -> list[Episode]:
    """Return where the wash water lay below 85 % of its usual flow while the line was running."""
    low = running & wash.below(WASH_SHARE * usual_m3_h)
    found = episodes(low, WASH_MIN)
    return [replace(e, facts={"wash_water_m3_h": wash.mean(e, low), "usual_m3_h": usual_m3_h}) for e in found]


@dataclass(frozen=True)
class Line:
    """y = intercept + slope x."""

    intercept: float
    slope: float

    def at(self, x: Values) -> Values:
        return self.intercept + self.slope * x


def suction_line(flow: Values, suction: Values) -> Line:
    """Return the suction pressure [kPa] over the flow [m3/h] squared; the median where the slope is not downhill, as friction makes it."""
    x = flow * flow
    dx = x - x.mean()
    square = float((dx * dx).sum())
    slope = float((dx * (suction - suction.mean())).sum()) / square if square > 0 else 0.0
    if slope >= 0:
        return Line(float(np.median(suction)), 0.0)
    return Line(float(np.median(suction - slope * x)), slope)


def blocked_suction(flow: Series, suction: Series, judged: Mask, line: Line) -> list[Episode]:
    """Return where the suction pressure lay 2 psi below its line for ten minutes, and the flow below that of the hour before."""
    usable = judged & flow.known & suction.known
    low = usable & (suction.values < line.at(flow.values**2) - SUCTION_DROP_KPA)
    out = []
    for e in episodes(low, SUCTION_MIN):
        before = slice(max(0, e.start - SUCTION_BEFORE_MIN), e.start)
        known = usable[before]
        now = flow.mean(e, low)
        if not known.any() or now is None:
            continue
        usual = float(np.median(flow.values[before][known]))
        if now < SUCTION_FLOW_SHARE * usual:
            facts = {"suction_pressure_kpa": suction.mean(e, low), "sludge_flow_m3_h": now, "flow_before_m3_h": usual}
            out.append(replace(e, facts=facts))
    return out


def deadhead(turns: Mask, flow: Series, flow_cutoff: float, discharge: Series, usual_kpa: float) -> list[Episode]:
    """Return where the pump turned without flow against a discharge pressure far above its usual."""
    closed = turns & flow.below(flow_cutoff) & discharge.known & (discharge.values > usual_kpa + DEADHEAD_KPA)
    found = episodes(closed, DEADHEAD_MIN)
    return [replace(e, facts={"discharge_pressure_kpa": discharge.mean(e, closed), "usual_kpa": usual_kpa}) for e in found]


def torque_high(torque: Series, running: Mask, usual_pct: float | None) -> list[Episode]:
    """Return where the torque lay above 90 %, or 25 points above its usual, for five minutes."""
    limit = TORQUE_LIMIT_PCT if usual_pct is None else min(TORQUE_LIMIT_PCT, usual_pct + TORQUE_ABOVE_PCT)
    high = running & torque.known & (torque.values > limit)
    return [replace(e, facts={"torque_pct": torque.mean(e, high), "limit_pct": limit}) for e in episodes(high, TORQUE_MIN)]


def strength_off(strength: Series, judged: Mask, set_pct: float) -> list[Episode]:
    """Return where the strength of the solution [%] lay more than 15 % off its set value for half an hour."""
    off = judged & strength.known & (np.abs(strength.values / set_pct - 1.0) > STRENGTH_SHARE)
    return [replace(e, facts={"strength_pct": strength.mean(e, off), "set_pct": set_pct}) for e in episodes(off, STRENGTH_MIN)]


def spikes(series: Series, judged: Mask) -> Values:
    """Return the minutes (indices) of spikes: six robust sigmas off the median of 11 judged minutes, back within two."""
    if len(judged) < SPIKE_WINDOW:
        return np.empty(0)
    seen = np.where(series.known & judged, series.values, np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(seen, SPIKE_WINDOW)
    whole = ~np.isnan(windows).any(axis=1)
    if not whole.any():
        return np.empty(0)
    middle = np.median(windows[whole], axis=1)
    centre = np.flatnonzero(whole) + SPIKE_WINDOW // 2
    residual = series.values[centre] - middle
    sigma = _MAD_SIGMA * float(np.median(np.abs(residual)))
    off = (np.abs(residual) > SPIKE_SIGMAS * sigma) & (np.abs(residual) > SPIKE_LEAST * np.abs(middle))
    out = np.zeros(len(judged), dtype=bool)
    out[centre[off]] = True
    for start, end in runs(out):
        if end - start > 2:
            out[start:end] = False
    return np.flatnonzero(out).astype(float)


def spike_episode(at: Values) -> list[Episode]:
    """Return more than 20 spikes of a day as one episode from the first to the last."""
    if len(at) <= SPIKES_A_DAY:
        return []
    return [Episode(int(at[0]), int(at[-1]) + 1, len(at), {"spikes": len(at)})]


def median_of(values: Sequence[Values], least: int) -> float | None:
    """Return the median over the minutes of several days; None below `least` of them."""
    joined = np.concatenate([np.empty(0), *values])
    return float(np.median(joined)) if len(joined) >= least else None
