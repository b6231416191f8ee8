"""Rules of process and equipment: series of contiguous minutes in, episodes out. Nothing is deleted or corrected here.

Limits are those of the block [watch] of the plant file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.plant.watch_settings import DEFAULTS, Watch
from pipelines.watch.episodes import Episode, Mask, Values, episodes, runs
from pipelines.watch.rules import Series

STARTS_WITHIN_MIN = 60  # [min] in which starts are counted
SUCTION_BEFORE_MIN = 60  # [min] before an episode, that tell what the flow and the suction pressure were
SPIKE_WINDOW, SPIKE_LEAST = 11, 0.1  # minutes of the median; share of the value: smaller excursions are no spikes (rule of this project)
_MAD_SIGMA = 1.4826  # of a normal distribution


def polymer_left_on(
    feed: Series, feed_cutoff: float, polymer: Series, polymer_cutoff: float, pump_on: Mask, settings: Watch = DEFAULTS
) -> list[Episode]:
    """Return where polymer flowed while no sludge was fed, both meters known and the feed pump off."""
    without = polymer.known & (polymer.values > polymer_cutoff) & feed.below(feed_cutoff) & ~pump_on
    found = episodes(without, settings.polymer_left_on_min)
    return [replace(e, facts={"polymer_m3": float(polymer.values[e.start : e.end][without[e.start : e.end]].sum() / 60.0)}) for e in found]


def short_cycling(on: Mask, known: Mask, settings: Watch = DEFAULTS) -> list[Episode]:
    """Return where a pump started too often within an hour, or had too many short runs in the series.

    A start stands between two known states, and so do both ends of a short run.
    """
    starts = np.flatnonzero(on[1:] & ~on[:-1] & known[1:] & known[:-1]) + 1
    holds = np.zeros(len(on), dtype=bool)
    for k in range(settings.short_cycling_starts, len(starts)):
        first, last = int(starts[k - settings.short_cycling_starts]), int(starts[k])
        if last - first < STARTS_WITHIN_MIN:
            holds[first : last + 1] = True
    brief = [(a, b) for a, b in runs(on) if b - a < settings.short_cycling_run_min and a > 0 and b < len(on) and known[a - 1] and known[b]]
    if len(brief) >= settings.short_cycling_runs:
        holds[brief[0][0] : brief[-1][1]] = True
    return [replace(e, facts={"starts": int(((starts >= e.start) & (starts < e.end)).sum())}) for e in episodes(holds, 1)]


def wash_water_low(wash: Series, running: Mask, usual_m3_h: float, settings: Watch = DEFAULTS) -> list[Episode]:
    """Return where the wash water lay far below its usual flow while the line was running."""
    low = running & wash.below(settings.wash_water_low_pct / 100.0 * usual_m3_h)
    found = episodes(low, settings.wash_water_low_min)
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


def blocked_suction(flow: Series, suction: Series, judged: Mask, line: Line | None, settings: Watch = DEFAULTS) -> list[Episode]:
    """Return where the suction pressure lay below its line, and the flow below that of the hour before.

    Without a line (a new pump) the pressure of the hour before takes its place: less flow gives more suction pressure, never less.
    """
    usable = judged & flow.known & suction.known
    expected = line.at(flow.values**2) if line is not None else _hour_before(np.where(usable, suction.values, np.nan))
    low = usable & (suction.values < expected - settings.blocked_suction_drop)
    out = []
    for e in episodes(low, settings.blocked_suction_min):
        before = slice(max(0, e.start - SUCTION_BEFORE_MIN), e.start)
        known = usable[before]
        now = flow.mean(e, low)
        if not known.any() or now is None:
            continue
        usual = float(np.median(flow.values[before][known]))
        if now < settings.blocked_suction_flow_pct / 100.0 * usual:
            facts = {"suction_pressure_kpa": suction.mean(e, low), "sludge_flow_m3_h": now, "flow_before_m3_h": usual}
            out.append(replace(e, facts=facts))
    return out


def _hour_before(values: Values) -> Values:
    """Return for each minute the median of the hour before it; NaN where fewer than half of its minutes are known."""
    padded = np.concatenate((np.full(SUCTION_BEFORE_MIN, np.nan), values))
    windows = np.lib.stride_tricks.sliding_window_view(padded, SUCTION_BEFORE_MIN)[: len(values)]
    enough = (~np.isnan(windows)).sum(axis=1) * 2 >= SUCTION_BEFORE_MIN
    out = np.full(len(values), np.nan)
    out[enough] = np.nanmedian(windows[enough], axis=1)
    return out


def deadhead(
    turns: Mask, flow: Series, flow_cutoff: float, discharge: Series, limit_kpa: float, settings: Watch = DEFAULTS
) -> list[Episode]:
    """Return where the pump turned without flow against a discharge pressure above its limit.

    Without flow the pressure falls by the friction of the line; where it rises instead, something is closed.
    """
    closed = turns & flow.below(flow_cutoff) & discharge.known & (discharge.values > limit_kpa)
    found = episodes(closed, settings.deadhead_min)
    return [replace(e, facts={"discharge_pressure_kpa": discharge.mean(e, closed), "limit_kpa": limit_kpa}) for e in found]


def torque_high(torque: Series, running: Mask, usual_pct: float | None, settings: Watch = DEFAULTS) -> list[Episode]:
    """Return where the torque lay above its limit, or far above its usual."""
    most = settings.torque_limit_pct
    limit = most if usual_pct is None else min(most, usual_pct + settings.torque_above_points)
    high = running & torque.known & (torque.values > limit)
    return [replace(e, facts={"torque_pct": torque.mean(e, high), "limit_pct": limit}) for e in episodes(high, settings.torque_min)]


def level_low(level: Series, judged: Mask, limit: float, persistence_min: int) -> list[Episode]:
    """Return where a value lay below a limit, in its unit, for so many judged minutes."""
    low = judged & level.below(limit)
    return [replace(e, facts={"value": level.mean(e, low), "limit": limit}) for e in episodes(low, persistence_min)]


def level_high(level: Series, judged: Mask, limit: float, persistence_min: int) -> list[Episode]:
    """Return where a value lay above a limit, in its unit, for so many judged minutes."""
    high = judged & level.known & (level.values > limit)
    return [replace(e, facts={"value": level.mean(e, high), "limit": limit}) for e in episodes(high, persistence_min)]


def strength_off(strength: Series, judged: Mask, set_pct: float, settings: Watch = DEFAULTS) -> list[Episode]:
    """Return where the strength of the solution [%] lay far off its set value."""
    off = judged & strength.known & (np.abs(strength.values / set_pct - 1.0) > settings.solution_off_pct / 100.0)
    return [replace(e, facts={"strength_pct": strength.mean(e, off), "set_pct": set_pct}) for e in episodes(off, settings.solution_off_min)]


def spikes(series: Series, judged: Mask, settings: Watch = DEFAULTS) -> Values:
    """Return the minutes (indices) of spikes: many robust sigmas off the median of 11 judged minutes, back within two."""
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
    off = (np.abs(residual) > settings.spikes_sigmas * sigma) & (np.abs(residual) > SPIKE_LEAST * np.abs(middle))
    out = np.zeros(len(judged), dtype=bool)
    out[centre[off]] = True
    for start, end in runs(out):
        if end - start > 2:
            out[start:end] = False
    return np.flatnonzero(out).astype(float)


def spike_episode(at: Values, settings: Watch = DEFAULTS) -> list[Episode]:
    """Return too many spikes of a day as one episode from the first to the last."""
    if len(at) <= settings.spikes_per_day:
        return []
    return [Episode(int(at[0]), int(at[-1]) + 1, len(at), {"spikes": len(at)})]


def median_of(values: Sequence[Values], least: int) -> float | None:
    """Return the median over the minutes of several days; None below `least` of them."""
    joined = np.concatenate([np.empty(0), *values])
    return float(np.median(joined)) if len(joined) >= least else None
