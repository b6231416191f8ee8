"""Non-inferiority gates: may the new arrangement be called not worse by more than a margin fixed in advance?

H0: difference <= -margin. The gate passes when the one-sided 95 % lower bound lies above -margin (the lower end of a 90 % two-sided
interval). All gates must pass; none is corrected for the others (intersection-union). A difference that is not significant is no
evidence of equality. "Drier cake" is a superiority claim with its own 95 % interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

GATE_LEVEL = 0.90  # two-sided level whose lower end is the one-sided 95 % bound
CAPTURE_MARGIN_PCT = 1.0  # points of capture
FILTRATE_RATIO = 1.25  # highest allowed ratio of filtrate suspended solids
THROUGHPUT_MARGIN = 0.03  # share of throughput
CAKE_MARGIN_PCT = 0.5  # points of cake, at most
LEAST_HALF_BREAK_EVEN_PCT = 0.3  # below this the gate on cake would need an endless trial: then the money gate stands in


@dataclass(frozen=True)
class Gate:
    """One gate: difference and bounds in the unit of the outcome, margin, and the verdict with its reason."""

    name: str
    estimate: float
    low: float
    high: float
    margin: float
    unit: str
    is_passed: bool
    is_worse: bool
    reason: str


def not_lower(name: str, estimate: float, low: float, high: float, margin: float, unit: str) -> Gate:
    """Judge "not lower by more than margin" from a 90 % interval; worse where the whole interval lies below 0."""
    passed, worse = low > -margin, high < 0.0
    if passed:
        reason = f"lower bound {low:+.2f} {unit} above the margin {-margin:+.2f}"
    elif high < -margin:
        reason = f"lower by more than the margin: at best {high:+.2f} {unit}, margin {-margin:+.2f}"
    else:
        reason = f"lower bound {low:+.2f} {unit} not above the margin {-margin:+.2f}"
    return Gate(name, estimate, low, high, margin, unit, passed, worse, reason)


def not_higher_ratio(name: str, ln_estimate: float, ln_low: float, ln_high: float, most: float) -> Gate:
    """Judge "ratio not above `most`" from a 90 % interval of ln ratio; worse where the whole interval lies above 1."""
    ratio, low, high = (float(np.exp(v)) for v in (ln_estimate, ln_low, ln_high))
    passed, worse = high < most, low > 1.0
    reason = f"upper bound {high:.2f} {'below' if passed else 'not below'} the highest ratio allowed, {most:.2f}"
    return Gate(name, ratio, low, high, most, "ratio", passed, worse, reason)


def break_even_wetness_pct(cake_pct: float, capture_pct: float, saved_per_t: float, disposal_per_wet_t: float) -> float:
    """Return by how many points the cake may be wetter until the saving is cancelled; the capture unchanged.

    Wet cake per tonne of feed solids is R / C; disposal x R x (1/(C - w) - 1/C) = saving, solved for w. Trade arithmetic.
    """
    wet = capture_pct / cake_pct
    return cake_pct - capture_pct / (wet + saved_per_t / disposal_per_wet_t)


def cake_margin_pct(half_break_even_pct: float) -> float | None:
    """Return the margin on cake: the lesser of 0.5 point and half the break-even wetness; None where the money gate stands in."""
    return None if half_break_even_pct < LEAST_HALF_BREAK_EVEN_PCT else min(CAKE_MARGIN_PCT, half_break_even_pct)
