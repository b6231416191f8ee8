"""Control line: the difference of the two lines first, then before/after on it.

It helps only where the lines move together, so the correlation of their residuals and what the control itself did are given beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.compare import before_after
from pipelines.compare.before_after import BeforeAfter
from pipelines.compare.gls import Array, Grid


@dataclass(frozen=True)
class Controlled:
    """Step of the line less that of the control; `raw` is the line alone, `control` the control alone."""

    difference: BeforeAfter
    raw: BeforeAfter
    control: BeforeAfter
    correlation: float  # of the lines' residuals about their own steps
    trend_before: tuple[float, float, float]  # of the difference before the switch, per 30 days: estimate, low, high


def step(times: Array, line: Array, control: Array, is_after: Array, history: tuple[Array, Array] | None = None) -> Controlled:
    """Return the controlled step; all arrays on the days both lines have. `history` is of the difference."""
    difference = before_after.step(times, line - control, is_after, history=history)
    x = before_after.design(is_after)
    residuals = [y - x @ np.linalg.lstsq(x, y, rcond=None)[0] for y in (line, control)]
    spread = residuals[0].std() * residuals[1].std()
    correlation = float((residuals[0] * residuals[1]).mean() / spread) if spread > 0 else 0.0
    return Controlled(
        difference, before_after.step(times, line, is_after), before_after.step(times, control, is_after), correlation,
        _trend(times[is_after == 0], (line - control)[is_after == 0]),
    )  # fmt: skip


def _trend(times: Array, y: Array) -> tuple[float, float, float]:
    x = np.column_stack([np.ones(len(y)), (times - times.mean()) / 30.0])
    fit = Grid(times, x).fit(y, 1)
    return fit.estimate, fit.low, fit.high
