"""Totaliser registers to increments: rollover, reset and impossible jumps told apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

NEAR_CAP, NEAR_ZERO = 0.9, 0.1  # a rollover falls from above 0.9 to below 0.1 of the capacity (common practice, no source)
RATE_MARGIN = 1.2  # largest believable rate over the stated maximum (common practice, no source)
NORMAL, ROLLOVER, RESET, IMPOSSIBLE = 0, 1, 2, 3


def increments(
    times_us: NDArray[np.int64], values: NDArray[np.float64], cap: float | None, max_rate: float | None
) -> tuple[NDArray[np.float64], NDArray[np.int8]]:
    """Return (increment from the reading before, verdict) per reading; the first has increment nan, verdict normal.

    `values` register [m3 or kWh], `cap` capacity in the same unit or None, `max_rate` largest true rate [unit/h] or None.
    A fall is a rollover when it goes from near the cap to near zero at a believable rate, a reset when the new value
    itself is believable as flow since the last reading (counted as that, a lower bound), else impossible (nan). A rise
    above the believable rate is impossible (nan). Common practice, no source.
    """
    step = np.diff(values, prepend=np.nan)
    hours = np.diff(times_us.astype(np.float64), prepend=np.nan) / 3.6e9
    most = np.full(len(values), np.inf) if max_rate is None else RATE_MARGIN * max_rate * hours
    before = np.concatenate(([np.nan], values[:-1])) if len(values) else values
    verdict = np.zeros(len(values), dtype=np.int8)
    out = step.copy()
    with np.errstate(invalid="ignore"):
        falls = step < 0
        rolled = np.zeros(len(values), dtype=bool)
        if cap is not None:
            wrapped = values + cap - before
            rolled = falls & (before > NEAR_CAP * cap) & (values >= 0) & (values < NEAR_ZERO * cap) & (wrapped <= most)
            out = np.where(rolled, wrapped, out)
        reset = falls & ~rolled & (values >= 0) & (values <= most)  # no register reads below zero
        impossible = (falls & ~rolled & ~reset) | (step > most)
    out = np.where(reset, values, out)
    out = np.where(impossible, np.nan, out)
    verdict[rolled], verdict[reset], verdict[impossible] = ROLLOVER, RESET, IMPOSSIBLE
    return out, verdict
