"""Second opinion of before/after comparisons: equally weighted cosines.

The long-run variance of a least-squares coefficient is the mean of the squared projections of its scores on the first B cosines, whatever
correlates the days; Student's t with B degrees of freedom. B = 0.4 n^(2/3). Lazarus, Lewis, Stock, Watson 2018 (J. Business & Economic
Statistics 36:541). It assumes that the errors fade within the span; a drift slower than the span is not seen.
"""

from __future__ import annotations

import numpy as np

from pipelines.compare.gls import Array

TERMS_FACTOR = 0.4  # of n^(2/3)


def terms(n: int) -> int:
    """Return the number of cosines for n days; at least 2."""
    return max(2, int(TERMS_FACTOR * n ** (2.0 / 3.0)))


def intervals(x: Array, y: Array, column: int, level: float = 0.95) -> tuple[Array, Array, Array]:
    """Return estimate, low and high of one coefficient for each response; x: n x p, y: n x s, days in order of time."""
    from scipy import stats

    n = x.shape[0]
    count = terms(n)
    bread = np.linalg.inv(x.T @ x)
    solve = bread @ x.T
    beta = solve @ y
    influence = solve[column][:, None] * (y - x @ beta)  # what each day adds to the coefficient
    at = (np.arange(n) + 0.5) / n
    cosines = np.sqrt(2.0 / n) * np.cos(np.pi * np.outer(np.arange(1, count + 1), at))
    variance = n * ((cosines @ influence) ** 2).mean(0)
    half = stats.t.ppf((1.0 + level) / 2.0, count) * np.sqrt(variance)
    centre = beta[column]
    return centre, centre - half, centre + half
