"""Slow drift of the flow a revolution: an EWMA of whitened daily residuals, dated by the CUSUM. Note level: meter or pump, look which.

The first 20 days of an arrangement are its baseline. Limits are common practice, no source: weight 0.1, 3 sigma and 2 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from pipelines.watch import charts

BASELINE_DAYS = 20
WEIGHT, LIMIT, LEAST = 0.1, 3.0, 0.02  # of the EWMA; sigma; change that is worth a word
ALLOWANCE = 0.5  # sigma, of the CUSUM that dates the start


@dataclass(frozen=True)
class Drift:
    """A drift from its dated start to its last day; `change` is the shift of the level [share]."""

    first: date
    last: date
    change: float
    days: int


def drift(days: Sequence[tuple[date, float]]) -> Drift | None:
    """Return the drift of daily values (sorted, above 0) that stands at the end of the series; None when there is none.

    The start is the day after the CUSUM of the side was last at 0: the usual estimate of when a shift began.
    """
    if len(days) <= BASELINE_DAYS:
        return None
    logs = np.log(np.array([v for _, v in days]))
    baseline = logs[:BASELINE_DAYS]
    mean, rho = float(np.median(baseline)), charts.lag_one(baseline)
    residual = charts.whitened(logs, mean, rho)
    sigma = charts.robust_sigma(residual[:BASELINE_DAYS])
    if sigma <= 0:
        return None
    level = charts.ewma(logs, WEIGHT, mean)[1:] - mean
    beyond = charts.ewma_signals(residual, 0.0, sigma, WEIGHT, LIMIT) & (np.abs(level) > LEAST)
    if not beyond[-1]:
        return None
    high, low = charts.cusum(residual / sigma, 0.0, ALLOWANCE)
    side = high if level[-1] > 0 else low
    first = int(np.flatnonzero(side == 0)[-1]) + 1 if (side == 0).any() else 0
    first = min(first, len(days) - 1)
    return Drift(days[first][0], days[-1][0], float(np.expm1(level[-1])), len(days) - first)
