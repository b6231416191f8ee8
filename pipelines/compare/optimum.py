"""Dose of least cost at the plant's prices, and the overfeed margin, from a fitted dose curve.

J(d) = p d + h R(d) / C(d) + r 1000 (1 - R(d)); the optimum is the lowest dose whose cost lies within `TOLERANCE_SHARE` of the least cost. The view
`dose_curves` stays as the quick look by a rule on the steps themselves; where both stand, this one is the answer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipelines.compare import dose_curve, money
from pipelines.compare.dose_curve import Curve, Steps
from pipelines.compare.gls import Array
from pipelines.compare.money import Point, Prices

TOLERANCE_PER_T = 0.5  # in the plant's currency per tonne: as good as the least cost (common practice, no source)
GRID = 400  # doses tried between the lowest and highest step


def best_dose(curve: Curve, arm: float, span: tuple[float, float], prices: Prices) -> float:
    """Return the optimum dose [kg/t] of an arm within the span of its steps."""
    doses = np.linspace(*span, GRID)
    cost = _cost(curve, arm, doses, prices)
    return float(doses[np.argmax(cost <= np.min(cost) + TOLERANCE_PER_T)])


def _cost(curve: Curve, arm: float, doses: Array, prices: Prices) -> Array:
    point = Point(doses, curve.cake(doses, arm), curve.capture(doses, arm))
    return np.asarray(sum(money.parts_per_t(point, prices).values()))


def interval(steps: Steps, curve: Curve, arm: float, prices: Prices, seed: int, draws: int = 400) -> tuple[float, float, float]:
    """Return optimum dose, and its 95 % percentile interval over resampled sets [kg/t]."""
    own = steps.dose[steps.arm == arm]
    span = (float(own.min()), float(own.max()))
    weight = np.random.default_rng(seed).multinomial(steps.count, np.full(steps.count, 1.0 / steps.count), draws).astype(float)
    found = [best_dose(replace(curve, parameters=p), arm, span, prices) for p in dose_curve.refit(steps, curve, weight)]
    low, high = np.quantile(found, (0.025, 0.975))
    return best_dose(curve, arm, span, prices), float(low), float(high)


def overfeed_margin_pct(usual_kg_t: float, optimum_kg_t: float) -> float:
    """Return how far the usual dose lies above the optimum [%]."""
    return 100.0 * (usual_kg_t / optimum_kg_t - 1.0)
