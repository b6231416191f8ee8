"""The curve of mixing pressure drop over flow, and minutes off it.

dP = b0 + k Q2 over the minutes of the trailing days; hydraulics of a fixed resistance, limits common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.plant import limits
from pipelines.plant.watch_settings import DEFAULTS, Watch
from pipelines.watch.episodes import Episode, Facts, Mask, Values, episodes

TRIM_KPA = 34.5  # [kPa] (5 psi) minutes and days farther off teach the curve nothing (common practice, no source)
CLEARS_AT = 0.7  # of the limit: below it an open episode begins to clear (common practice, no source)
REACH = 0.10  # of the flow range seen: beyond it the curve is not used (common practice, no source)
ALIKE_LEAST = 3  # days from which the odd one can be told (rule of this project)
_TRIMS = 5  # rounds of leaving out minutes farther than the limit, so that a fault does not teach the curve


@dataclass(frozen=True)
class Curve:
    """dP [kPa] = b0 + k Q2, Q in m3/h, good between two flows; `method` is "fit" or "scaled" (b0 taken as 0)."""

    b0: float
    k: float
    lowest: float
    highest: float
    points: int
    method: str

    def at(self, flow: Values) -> Values:
        return self.b0 + self.k * flow * flow

    def reaches(self, flow: Values) -> Mask:
        return (flow >= self.lowest * (1 - REACH)) & (flow <= self.highest * (1 + REACH))


def fitted(flow: Values, dp: Values) -> Curve | None:
    """Return the curve through minutes (flow [m3/h], dp [kPa], both known), or None when they are too few."""
    if len(flow) < limits.CURVE_POINTS:
        return None
    low, middle, high = (float(q) for q in np.percentile(flow, [5, 50, 95]))
    if middle <= 0:
        return None
    if high - low < limits.FLOW_SPAN_SHARE * middle:
        return _scaled(flow, dp, low, high)
    kept = np.ones(len(flow), dtype=bool)
    for _ in range(_TRIMS):
        b0, k = _line(flow[kept] ** 2, dp[kept])
        residual = dp - (b0 + k * flow**2)
        near = np.abs(residual - np.median(residual)) <= TRIM_KPA
        if near.sum() < limits.CURVE_POINTS or bool((near == kept).all()):
            break
        kept = near
    if k <= 0:  # a drop that falls with the flow is no resistance: something else moved it
        return _scaled(flow, dp, low, high)
    return Curve(b0, k, low, high, int(kept.sum()), "fit")


def _scaled(flow: Values, dp: Values, low: float, high: float) -> Curve | None:
    """Return the curve through the origin; None when the pressure drop is not above 0."""
    used = flow > 0
    k = float(np.median(dp[used] / flow[used] ** 2))
    return Curve(0.0, k, low, high, int(used.sum()), "scaled") if k > 0 else None


def alike(days: Sequence[tuple[Values, Values]]) -> list[bool]:
    """Return for each day (flow [m3/h], dp [kPa]) whether its pressure drop is like that of the others.

    Compared at the median flow of all days by the median of dp / Q2; off by more than the clearing limit from the median of the days, a
    day is left out. Less than half of the days can be faulty before the median follows them.
    """
    factors = [float(np.median(dp[flow > 0] / flow[flow > 0] ** 2)) if (flow > 0).any() else None for flow, dp in days]
    known = [k for k in factors if k is not None]
    if len(known) < ALIKE_LEAST:
        return [True] * len(days)
    middle, flow = float(np.median(known)), float(np.median(np.concatenate([flow for flow, _ in days])))
    return [k is None or abs(k - middle) * flow * flow <= CLEARS_AT * TRIM_KPA for k in factors]


def _line(x: Values, y: Values) -> tuple[float, float]:
    """Return intercept and slope of the least-squares line; the mean where x does not vary."""
    dx = x - x.mean()
    square = float((dx * dx).sum())
    k = float((dx * (y - y.mean())).sum()) / square if square > 0 else 0.0
    return float(y.mean()) - k * float(x.mean()), k


def off_curve(flow: Values, dp: Values, judged: Mask, curve: Curve, settings: Watch = DEFAULTS, *, above: bool) -> list[Episode]:
    """Return the episodes in which dp lies off the curve on one side; only `judged` minutes within its reach count."""
    usable = judged & curve.reaches(flow)
    residual = np.where(usable, (dp - curve.at(flow)) * (1.0 if above else -1.0), -np.inf)
    found = episodes(
        residual > settings.mixing_pressure_off, settings.mixing_pressure_min, stays=residual >= CLEARS_AT * settings.mixing_pressure_off
    )
    return [_with_facts(e, flow, dp, usable, curve, settings.mixing_pressure_off) for e in found]


def _with_facts(episode: Episode, flow: Values, dp: Values, usable: Mask, curve: Curve, limit_kpa: float) -> Episode:
    seen = np.flatnonzero(usable[episode.start : episode.end]) + episode.start
    expected = curve.at(flow[seen])
    facts: Facts = {
        "mixing_dp_kpa": float(dp[seen].mean()),
        "expected_kpa": float(expected.mean()),
        "residual_kpa": float((dp[seen] - expected).mean()),
        "limit_kpa": limit_kpa,
        "sludge_flow_m3_h": float(flow[seen].mean()),
        "curve_b0_kpa": curve.b0,
        "curve_k_kpa_per_m3_h_squared": curve.k,
        "curve_method": curve.method,
        "curve_minutes": curve.points,
    }
    return Episode(episode.start, episode.end, episode.held, facts)
