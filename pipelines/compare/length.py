"""How long must a trial be? Days by design from the plant's own scatter and autocorrelation of a value.

The value wanders as AR(1) plus white noise, fitted by REML to quiet days. For each candidate length the method of the design is run on simulated trials, and the
share in which a difference is shown is its power. No formula stands in for the method: what is promised is what was simulated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.compare import before_after
from pipelines.compare.gls import RHOS, Array, Grid

POWER = 0.90
TRIALS = 400  # simulated per length: power within 1.5 points (standard error)
CANDIDATE_SETS = (6, 8, 10, 12, 16, 20, 26, 34, 44, 60)
CANDIDATE_DAYS = (20, 30, 40, 60, 80, 110, 150, 200, 260)  # of each arm
SIMULATED_ORDERS = 511


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of a day, share of its variance that wanders, and that part's lag-1 correlation."""

    sd: float
    share: float
    rho: float
    days: int


def scatter(times: Array, y: Array) -> Scatter:
    """Return the scatter of quiet days (at least 15) about their mean."""
    grid = Grid(times, np.ones((len(y), 1)), rhos=RHOS)
    fit = grid.fit(y, 0)
    return Scatter(float(y.std(ddof=1)), fit.share, min(fit.rho, 0.97), len(y))


def paths(rng: np.random.Generator, found: Scatter, n: int, trials: int) -> Array:
    """Return simulated days (n x trials) of such scatter."""
    wander = np.empty((n, trials))
    wander[0] = rng.standard_normal(trials)
    for k in range(1, n):
        wander[k] = found.rho * wander[k - 1] + np.sqrt(1.0 - found.rho**2) * rng.standard_normal(trials)
    return np.asarray(found.sd * (np.sqrt(found.share) * wander + np.sqrt(1.0 - found.share) * rng.standard_normal((n, trials))))


def power_of_sets(found: Scatter, difference: float, sets: int, block_days: int, margin: float, seed: int, trials: int = TRIALS) -> float:
    """Return the share of trials of `sets` drawn pairs of blocks whose interval lies above -margin (margin 0: shows the difference, > 0).

    margin 0: 95 % interval; a margin: 90 % interval, the non-inferiority gate. The first day of a longer block is dropped.
    """
    rng = np.random.default_rng([seed, sets, block_days])
    y = paths(rng, found, 2 * sets * block_days, trials).reshape(2 * sets, block_days, trials)
    means = y[:, (1 if block_days > 1 else 0) :].mean(1)
    sign = np.where(rng.random((sets, trials)) < 0.5, 1.0, -1.0)
    d = sign * (means[1::2] - means[::2]) + difference
    alpha = 0.05 if margin == 0.0 else 0.10
    flips = np.where(rng.random((SIMULATED_ORDERS, sets)) < 0.5, 1.0, -1.0)
    shifted = d + margin
    spread = shifted.std(0, ddof=1)
    here = shifted.mean(0) / spread
    other = flips @ shifted / sets
    square = (shifted**2).mean(0)[None, :]
    studentised = other / np.sqrt(np.maximum(square - other**2, 1e-12) * sets / (sets - 1))
    p = (1.0 + (np.abs(studentised) >= np.abs(here)[None, :] * (1.0 - 1e-9)).sum(0)) / (SIMULATED_ORDERS + 1.0)
    return float(((p <= alpha) & (here > 0.0)).mean())


def power_before_after(found: Scatter, difference: float, days: int, margin: float, seed: int, trials: int = TRIALS) -> float:
    """Return the share of before/after trials of `days` each whose interval lies above -margin."""
    rng = np.random.default_rng([seed, days])
    is_after = np.repeat([0.0, 1.0], days)
    y = paths(rng, found, 2 * days, trials) + difference * is_after[:, None]
    level = 0.95 if margin == 0.0 else 0.90
    _, low, _ = Grid(np.arange(2.0 * days), before_after.design(is_after)).intervals(y, 1, level)
    return float((low > -margin).mean())


def best_power(found: Scatter, difference: float, days: int, margin: float) -> float:
    """Return the power of generalised least squares that knows the noise: no before/after method on `days` each has more."""
    from scipy import stats

    is_after = np.repeat([0.0, 1.0], days)
    at = np.arange(2.0 * days)
    covariance = found.share * found.rho ** np.abs(np.subtract.outer(at, at)) + (1.0 - found.share) * np.eye(2 * days)
    x = before_after.design(is_after)
    se = found.sd * float(np.sqrt(np.linalg.inv(x.T @ np.linalg.solve(covariance, x))[1, 1]))
    return float(stats.norm.sf(stats.norm.ppf(0.975 if margin == 0.0 else 0.95) - (difference + margin) / se))


def sets_needed(found: Scatter, difference: float, block_days: int, margin: float = 0.0, seed: int = 1) -> tuple[int, float] | None:
    """Return the least number of sets of the candidates with the power asked, and that power; None: none of them."""
    for sets in CANDIDATE_SETS:
        power = power_of_sets(found, difference, sets, block_days, margin, seed)
        if power >= POWER:
            return sets, power
    return None


def days_needed(found: Scatter, difference: float, margin: float = 0.0, seed: int = 1) -> tuple[int, float] | None:
    """Return the least number of days an arm, before/after, and its power; None: more than the longest candidate."""
    for days in CANDIDATE_DAYS:
        if best_power(found, difference, days, margin) < POWER:
            continue
        power = power_before_after(found, difference, days, margin, seed)
        if power >= POWER:
            return days, power
    return None
