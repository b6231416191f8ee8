"""Regression on feed TS that is measured with error, and stands in the dose as well.

Measured ln TS = true + u; the dose divides by measured TS, so ln dose carries -u. Moments are corrected: S_xx - s2_u and S_xy + s2_u (Fuller 1987,
chapter 1; the second term follows from the ratio). `var_u`: variance of u, the relative standard uncertainty of a day's TS squared.
"""

from __future__ import annotations

import numpy as np

from pipelines.compare.gls import Array


def slope(ln_ts: Array, ln_dose: Array, var_u: float) -> tuple[float, float]:
    """Return the slope of ln dose on ln TS as measured, and corrected; ValueError when the error is as large as the spread."""
    x, y = ln_ts - ln_ts.mean(), ln_dose - ln_dose.mean()
    n = len(x) - 1
    s_xx, s_xy = float((x * x).sum()) / n, float((x * y).sum()) / n
    if s_xx <= 2.0 * var_u:
        raise ValueError("feed TS varies hardly more than its error: no slope can be told")
    return s_xy / s_xx, (s_xy + var_u) / (s_xx - var_u)


def adjusted_step(is_after: Array, ln_ts: Array, ln_dose: Array, var_u: float) -> float:
    """Return the step of ln dose at equal feed TS with the corrected slope, taken within arms."""
    parts = [is_after == a for a in (0.0, 1.0)]
    within_x, within_y = ln_ts.copy(), ln_dose.copy()
    for part in parts:
        within_x[part] -= ln_ts[part].mean()
        within_y[part] -= ln_dose[part].mean()
    _, b = slope(within_x, within_y, var_u)
    means = [(float(np.mean(ln_dose[p])), float(np.mean(ln_ts[p]))) for p in parts]
    return (means[1][0] - means[0][0]) - b * (means[1][1] - means[0][1])
