"""Regression with first-order autoregressive plus white errors: REML over a grid, intervals averaged over what the data leave open.

Error covariance (unit total variance) between days t and s: share x rho^|t - s|, plus 1 - share on the diagonal: a drift that
fades with rho, and an error each day has of its own. For each pair (rho, share) of a grid the regression is solved by generalised least
squares; the restricted likelihood weights the pairs; the interval is that of the mixture of Student's t of all pairs.
A plug-in interval (the best pair alone) is too narrow where the days cannot tell a slow drift: tests/bench/COVERAGE.md.

Restricted likelihood: Patterson and Thompson 1971; averaging over the grid is this project's choice, judged by coverage.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

Array = NDArray[np.float64]

RHOS: tuple[float, ...] = (0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.78, 0.84, 0.88, 0.91, 0.935, 0.955, 0.97, 0.98)  # lag of one day
SHARES: tuple[float, ...] = (0.1, 0.25, 0.4, 0.55, 0.7, 0.85, 1.0)  # of the variance that is autoregressive


@dataclass(frozen=True)
class Fit:
    """One coefficient: estimate, interval, and what the errors look like. `effective_days` is n (1 - r) / (1 + r) with r the lag-1 correlation."""

    estimate: float
    low: float
    high: float
    se: float  # root of the variance of the mixture, as far as it has one: sum of weights x s2
    rho: float  # weighted mean over the grid
    share: float
    lag1: float  # share x rho, weighted mean
    n: int
    effective_days: float

    @property
    def half(self) -> float:
        """Return the larger of the two distances from estimate to the ends."""
        return max(self.estimate - self.low, self.high - self.estimate)


class Grid:
    """Factored covariances of one set of times and regressors; `fit` then costs little per response.

    `times`: days, any spacing, n of them; `x`: n x p, full rank. ValueError when n - p < 3.
    """

    def __init__(self, times: Array, x: Array, rhos: Sequence[float] = RHOS, shares: Sequence[float] = SHARES) -> None:
        from scipy.linalg import solve_triangular

        self._solved = solve_triangular
        self.n, self.p = x.shape
        if self.n - self.p < 3:
            raise ValueError(f"{self.n} days and {self.p} coefficients leave too few degrees of freedom")
        gaps = np.abs(np.subtract.outer(times, times))
        self.pairs = [(r, s) for r in rhos for s in shares if r > 0.0] + [(0.0, 1.0)]
        self._lower, self._hat, self._back, self._unit, self._penalty = [], [], [], [], []
        for rho, share in self.pairs:
            v = share * rho**gaps + (1.0 - share) * np.eye(self.n)
            np.fill_diagonal(v, 1.0)
            lower = np.linalg.cholesky(v)
            q, r = np.linalg.qr(self._whitened(lower, x))
            r_inverse = np.linalg.inv(r)
            self._lower.append(lower)
            self._hat.append(q)
            self._back.append(r_inverse)
            self._unit.append(r_inverse @ r_inverse.T)
            self._penalty.append(2.0 * np.log(np.diag(lower)).sum() + 2.0 * np.log(np.abs(np.diag(r))).sum())

    def _whitened(self, lower: Any, values: Array) -> Array:
        """Return the values (n x s) as if the days were independent: L^-1 values, L the factor of the covariance."""
        return np.asarray(self._solved(lower, values, lower=True, check_finite=False))

    def betas(self, y: Array) -> tuple[Array, Array, Array]:
        """Return coefficients (grid x p x s), residual sums of squares (grid x s), log weights (grid x s) of responses y (n x s)."""
        beta, rss = np.empty((len(self.pairs), self.p, y.shape[1])), np.empty((len(self.pairs), y.shape[1]))
        for k, (lower, q, back) in enumerate(zip(self._lower, self._hat, self._back, strict=True)):
            z = self._whitened(lower, y)
            along = q.T @ z
            beta[k], rss[k] = back @ along, (z * z).sum(0) - (along**2).sum(0)
        rss = np.maximum(rss, 1e-300)
        log_like = -0.5 * (np.array(self._penalty)[:, None] + (self.n - self.p) * np.log(rss))
        return beta, rss, log_like + np.log(self._prior)[:, None]

    @cached_property
    def _prior(self) -> Array:
        """Return the prior weight of each pair: each rho of the grid the same (about flat in the time constant), flat in share.

        Flat in rho itself weighs slow drift too little: coverage then falls by 3 to 8 points where half the variance drifts slowly.
        """
        rhos = [r for r, _ in self.pairs]
        return np.array([1.0 / rhos.count(r) for r in rhos])

    def intervals(self, y: Array, column: int, level: float = 0.95) -> tuple[Array, Array, Array]:
        """Return estimate, low and high of one coefficient for each response (n x s)."""
        centre, scale, weight = self._mixture(y, column)
        mean = (weight * centre).sum(0)
        tail = (1.0 - level) / 2.0
        return mean, _quantile(centre, scale, weight, self.n - self.p, tail), _quantile(centre, scale, weight, self.n - self.p, 1.0 - tail)

    def _mixture(self, y: Array, column: int) -> tuple[Array, Array, Array]:
        beta, rss, log_weight = self.betas(y)
        weight = np.exp(log_weight - log_weight.max(0))
        weight /= weight.sum(0)
        unit = np.array([u[column, column] for u in self._unit])
        return beta[:, column, :], np.sqrt(rss / (self.n - self.p) * unit[:, None]), weight

    def fit(self, y: Array, column: int, level: float = 0.95) -> Fit:
        """Return the fit of one response (n) for one coefficient."""
        mean, low, high = self.intervals(y[:, None], column, level)
        centre, scale, weight = (a[:, 0] for a in self._mixture(y[:, None], column))
        rhos, shares = (np.array(a) for a in zip(*self.pairs, strict=True))
        lag1 = float((weight * rhos * shares).sum())
        variance = float((weight * (scale**2 + (centre - mean[0]) ** 2)).sum())
        return Fit(
            float(mean[0]), float(low[0]), float(high[0]), variance**0.5, float((weight * rhos).sum()), float((weight * shares).sum()), lag1,
            self.n, self.n * (1.0 - lag1) / (1.0 + lag1),
        )  # fmt: skip

    def plug_in(self, y: Array, column: int, level: float = 0.95) -> tuple[Array, Array, Array]:
        """Return estimate, low and high from the most likely pair alone, Student's t with effective days (for the bench)."""
        from scipy import stats

        beta, rss, log_weight = self.betas(y)
        best = log_weight.argmax(0)
        each = np.arange(y.shape[1])
        lag1 = np.array([r * s for r, s in self.pairs])[best]
        freedom = np.maximum(self.n * (1.0 - lag1) / (1.0 + lag1) - self.p, 2.0)
        unit = np.array([u[column, column] for u in self._unit])[best]
        half = stats.t.ppf((1.0 + level) / 2.0, freedom) * np.sqrt(rss[best, each] / (self.n - self.p) * unit)
        centre = beta[best, column, each]
        return centre, centre - half, centre + half


def _quantile(centre: Array, scale: Array, weight: Array, freedom: int, tail: float) -> Array:
    """Return the quantile of mixtures of Student's t (grid x s) by bisection."""
    from scipy import special

    spread = 60.0 * scale.max(0) + np.ptp(centre, axis=0) + 1e-300
    low, high = centre.min(0) - spread, centre.max(0) + spread
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = (weight * special.stdtr(freedom, (middle - centre) / scale)).sum(0)
        low, high = np.where(below < tail, middle, low), np.where(below < tail, high, middle)
    return np.asarray(0.5 * (low + high))


def ordinary(x: Array, y: Array) -> tuple[Array, Array, float]:
    """Return coefficients, standard errors and residual sum of squares of ordinary least squares, columns scaled first, by QR.

    One step of iterative refinement in extended precision, so that ill-conditioned polynomials keep their digits.
    """
    scale = np.sqrt((x * x).sum(0))
    scaled = x / scale
    q, r = np.linalg.qr(scaled)
    beta = np.linalg.solve(r, q.T @ y)
    wide, target = scaled.astype(np.longdouble), y.astype(np.longdouble)
    for _ in range(3):
        beta = beta + np.linalg.solve(r, q.T @ (target - wide @ beta).astype(np.float64)).astype(np.longdouble)
    residual = target - wide @ beta
    rss = float((residual * residual).sum())
    r_inverse = np.linalg.inv(r)
    unit = (r_inverse * r_inverse).sum(1)
    freedom = len(y) - x.shape[1]
    return (beta / scale).astype(np.float64), np.sqrt(rss / freedom * unit) / scale, rss
