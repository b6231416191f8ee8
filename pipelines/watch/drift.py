"""Slow drift of the flow a revolution: an EWMA of whitened daily residuals, dated by the CUSUM. Note level: meter or pump, look which.

The first 20 days of an arrangement are its baseline. Limits are common practice, no source: weight 0.1, 3 sigma and 2 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

import numpy as np

from pipelines.plant.watch_settings import DEFAULTS, Watch
from pipelines.watch import charts

BASELINE_DAYS = 20
USUAL_DAYS, USUAL_LEAST = 14, 5  # days before that make the usual of a day, and the fewest of them
WEIGHT = 0.1  # of the EWMA
ALLOWANCE = 0.5  # sigma, of the CUSUM that dates the start


@dataclass(frozen=True)
class Drift:
    """A drift from its dated start to its last day; `change` is the shift of the level [share]."""

    first: date
    last: date
    change: float
    days: int


@dataclass(frozen=True)
class OffDays:
    """Days in a row off their usual on one side; `change` is the median against it [share]."""

    first: date
    last: date
    change: float
    days: int


def off_days(days: Sequence[tuple[date, float]], settings: Watch = DEFAULTS) -> list[OffDays]:
    """Return the days (sorted, of one arrangement) whose value lies far off the median of the days before; days off teach nothing.

    Days that stay off for longer than the history are the new usual.
    """
    limit = settings.flow_per_revolution_pct / 100.0
    found, known, open_ = list[OffDays](), list[float](), list[tuple[date, float]]()

    def close() -> None:
        if open_:
            found.append(OffDays(open_[0][0], open_[-1][0], median(c for _, c in open_), len(open_)))
            open_.clear()

    for day, value in days:
        usual = median(known[-USUAL_DAYS:]) if len(known) >= USUAL_LEAST else None
        change = 0.0 if usual is None else value / usual - 1.0
        if abs(change) <= limit or len(open_) >= USUAL_DAYS:
            close()
            known = known if abs(change) <= limit else []
            known.append(value)
            continue
        if open_ and (open_[0][1] > 0) != (change > 0):
            close()
        open_.append((day, change))
    close()
    return found


def drift(days: Sequence[tuple[date, float]], settings: Watch = DEFAULTS) -> Drift | None:
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
    beyond = charts.ewma_signals(residual, 0.0, sigma, WEIGHT, settings.drift_sigmas) & (np.abs(level) > settings.drift_pct / 100.0)
    if not beyond[-1]:
        return None
    high, low = charts.cusum(residual / sigma, 0.0, ALLOWANCE)
    side = high if level[-1] > 0 else low
    first = int(np.flatnonzero(side == 0)[-1]) + 1 if (side == 0).any() else 0
    first = min(first, len(days) - 1)
    return Drift(days[first][0], days[-1][0], float(np.expm1(level[-1])), len(days) - first)
