"""Control charts: EWMA, individuals, tabular CUSUM; residuals whitened for autocorrelation. Pure functions over arrays.

Sources: NIST/SEMATECH e-Handbook 6.3.2 (doi:10.18434/M32189); tabular CUSUM as in Montgomery and Runger, ch. 16.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from pipelines.watch.episodes import Mask, Values

D2_PAIRS = 1.128  # mean range of two normal values over their sigma (e-Handbook 6.3.2.2)
_MAD_SIGMA = 1.4826  # of a normal distribution
WHITEN_LEAST = 10  # pairs that make an autocorrelation (rule of this project)


def ewma(values: Values, weight: float, start: float) -> Values:
    """Return z_t = weight x_t + (1 - weight) z_(t-1) from z_0 = `start`; the result begins with z_0."""
    out = np.empty(len(values) + 1)
    out[0] = start
    for t, x in enumerate(values, start=1):
        out[t] = weight * x + (1.0 - weight) * out[t - 1]
    return out


def ewma_sigma(sigma: float, weight: float, count: int | None = None) -> float:
    """Return the standard deviation of an EWMA of independent values: of the `count`-th value, without it in the long run."""
    settled = 1.0 if count is None else 1.0 - (1.0 - weight) ** (2 * count)
    return sigma * sqrt(weight / (2.0 - weight) * settled)


def individuals_limits(values: Values) -> tuple[float, float, float]:
    """Return lower limit, mean and upper limit of a chart of individuals: mean +- 3 mean moving range / 1.128."""
    reach = 3.0 * float(np.abs(np.diff(values)).mean()) / D2_PAIRS
    mean = float(values.mean())
    return mean - reach, mean, mean + reach


def cusum(values: Values, target: float, allowance: float) -> tuple[Values, Values]:
    """Return the upper and the lower one-sided sums, both from 0 and never below it; `allowance` K in the unit of the values."""
    high, low = np.zeros(len(values)), np.zeros(len(values))
    up = down = 0.0
    for t, x in enumerate(values):
        up, down = max(0.0, x - target - allowance + up), max(0.0, target - allowance - x + down)
        high[t], low[t] = up, down
    return high, low


def robust_sigma(values: Values) -> float:
    """Return 1.4826 times the median distance from the median."""
    return _MAD_SIGMA * float(np.median(np.abs(values - np.median(values))))


def lag_one(values: Values) -> float:
    """Return the autocorrelation of neighbours, 0 below ten pairs, at most 0.95: a chart of a random walk would never clear."""
    if len(values) <= WHITEN_LEAST:
        return 0.0
    d = values - values.mean()
    square = float((d * d).sum())
    return float(np.clip((d[1:] * d[:-1]).sum() / square, 0.0, 0.95)) if square > 0 else 0.0


def whitened(values: Values, mean: float, rho: float) -> Values:
    """Return what the neighbour before does not tell of each value: (x_t - mean) - rho (x_(t-1) - mean); the first one scaled to match."""
    d = values - mean
    out = np.empty(len(d))
    if len(d):
        out[0] = d[0] * sqrt(1.0 - rho * rho)
        out[1:] = d[1:] - rho * d[:-1]
    return out


def ewma_signals(values: Values, mean: float, sigma: float, weight: float, limit: float) -> Mask:
    """Return where the EWMA of values about a mean lies beyond `limit` of its own long-run standard deviations."""
    z = ewma(values, weight, mean)[1:]
    result: Mask = np.abs(z - mean) > limit * ewma_sigma(sigma, weight)
    return result
