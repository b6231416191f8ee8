"""Wear of a physical pump: trend of its weekly index with an interval that allows for weeks that lean on each other; what loss can be excluded.

The interval is the wider of AR(1) plus white noise (REML averaged) and equally weighted cosines; drift of the meters, a random walk that looks like wear, is
added in quadrature. Losses are positive. "No wear" is never said: a loss above the upper end can be excluded, no more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.compare import cosines
from pipelines.compare.gls import Array, Grid

LEAST_WEEKS = 12
DRIFT_PCT_PER_ROOT_YEAR = 1.5  # of head, or of slip flow at the pump: common practice, no source


@dataclass(frozen=True)
class WearTrend:
    """Loss per year [%] with a 95 % interval; `refusal` names the rule when there is none."""

    loss_pct_year: float
    low: float
    high: float
    weeks: int
    years: float
    refusal: str | None

    @property
    def sentence(self) -> str:
        """Return what can be said."""
        if self.refusal:
            return f"No statement: {self.refusal}."
        if self.low > 0.0:
            return f"A loss of {self.loss_pct_year:.1f} % a year ({self.low:.1f} to {self.high:.1f}) is measured."
        if self.high > 0.0:
            return f"No loss is resolved; a loss above {self.high:.1f} % a year can be excluded. This is no proof of no wear."
        return "The index moves the other way: look at the meters and at the sludge first."


def trend(years: Array, index: Array, *, growth_is_loss: bool, drift: float = DRIFT_PCT_PER_ROOT_YEAR) -> WearTrend:
    """Return the trend of a weekly index (1 as new); `growth_is_loss` for a slip index, which rises with wear."""
    n = len(index)
    span = float(np.ptp(years)) if n else 0.0
    if n < LEAST_WEEKS:
        return WearTrend(np.nan, np.nan, np.nan, n, span, f"{n} weeks with an index, {LEAST_WEEKS} needed")
    x = np.column_stack([np.ones(n), years - years.mean()])
    sign = 100.0 if growth_is_loss else -100.0
    y = sign * index
    fit = Grid(years * 365.25 / 7.0, x).fit(y, 1)
    _, low, high = (float(a[0]) for a in cosines.intervals(x, y[:, None], 1))
    half = max(fit.half, (high - low) / 2.0)
    half = float(np.hypot(half, 1.96 * drift * np.sqrt(1.2 / span)))  # slope of a random walk over the span: variance 1.2 / span
    return WearTrend(fit.estimate, fit.estimate - half, fit.estimate + half, n, span, None)


def years_to_threshold(index_now: float, threshold: float, trend_: WearTrend) -> tuple[float, float]:
    """Return the shortest and longest time until a falling index meets its threshold [years]; infinite where no loss is possible."""
    room = 100.0 * (index_now - threshold)
    shortest = room / trend_.high if trend_.high > 0.0 else np.inf
    longest = room / trend_.low if trend_.low > 0.0 else np.inf
    return float(shortest), float(longest)
