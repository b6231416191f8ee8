"""Before/after: one default interval, a second opinion of another kind, sham switches where the history is long; the widest stands.

No formula covers when drift is slow, so without enough sham switches the verdict "shown" is not given (pipelines/compare/verdicts).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from pipelines.compare import cosines
from pipelines.compare.gls import Array, Fit, Grid

LEAST_SHAMS = 20  # nearly independent sham switches needed to calibrate: the 20th of 20 is a 95 % bound (conformal rank ceil(0.95 x 21))
LEAST_SPACING = 10  # operating days between the starts of two sham switches, and at least half their span


@dataclass(frozen=True)
class BeforeAfter:
    """A step between two periods: the interval that stands, and each method's own."""

    estimate: float
    low: float
    high: float
    method: str
    fit: Fit
    cosines: tuple[float, float, float]
    shams: int
    sham_factor: float | None  # by which sham switches widen the default; null: too few of them
    is_calibrated: bool


def step(
    times: Array,
    y: Array,
    is_after: Array,
    covariates: Array | None = None,
    history: tuple[Array, Array] | None = None,
    level: float = 0.95,
) -> BeforeAfter:
    """Return the step of y at the switch; `times` in days, increasing; `covariates` n x k, centred inside.

    `history`: times and responses of quiet days without any change, in which the switch is pretended.
    """
    x = design(is_after, covariates)
    fit = Grid(times, x).fit(y, 1, level)
    second = tuple(float(a[0]) for a in cosines.intervals(x, y[:, None], 1, level))
    ratios = np.array([]) if history is None else sham_ratios(*history, int((1 - is_after).sum()), int(is_after.sum()), level)
    factor = sham_factor(ratios, level)
    low, high, method = fit.low, fit.high, "AR(1) plus white noise, REML averaged"
    if second[2] - second[1] > high - low:
        low, high, method = second[1], second[2], "equally weighted cosines"
    if factor is not None and 2.0 * factor * fit.half > high - low:
        low, high, method = fit.estimate - factor * fit.half, fit.estimate + factor * fit.half, "sham switches"
    return BeforeAfter(
        fit.estimate, low, high, method, fit, (second[0], second[1], second[2]), len(ratios), factor, factor is not None
    )  # fmt: skip


def design(is_after: Array, covariates: Array | None = None) -> Array:
    """Return the regressors: one, the step, and covariates less their means."""
    columns = [np.ones(len(is_after)), is_after.astype(float)]
    if covariates is not None and covariates.size:
        columns += list((covariates - covariates.mean(0)).T)
    return np.column_stack(columns)


def sham_ratios(times: Array, y: Array, before: int, after: int, level: float = 0.95) -> Array:
    """Return |estimate| / half width of pretended switches in quiet days, their spans at most half overlapping."""
    span = before + after
    spacing = max(LEAST_SPACING, ceil(span / 2))
    starts = range(0, len(y) - span + 1, spacing)
    found = []
    is_after = np.repeat([0.0, 1.0], [before, after])
    for start in starts:
        part = slice(start, start + span)
        fit = Grid(times[part], design(is_after)).fit(y[part], 1, level)
        found.append(abs(fit.estimate) / fit.half)
    return np.array(found)


def sham_factor(ratios: Array, level: float = 0.95) -> float | None:
    """Return the factor that makes `level` of sham switches, and one more of their kind, not significant; at least 1; None: too few."""
    rank = ceil(level * (len(ratios) + 1))
    if len(ratios) < LEAST_SHAMS or rank > len(ratios):
        return None
    return max(1.0, float(np.sort(ratios)[rank - 1]))
