"""One result of a comparison and how its verdict follows from interval, design and plan."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

REFUSED, SHOWN, NOT_SHOWN, WORSE = "refused", "shown", "not shown", "worse"


@dataclass(frozen=True)
class Estimate:
    """Estimate and interval in one unit; `level` in %; `days_from`, `days_to`: days or steps of each arm behind it."""

    value: float
    low: float
    high: float
    unit: str
    level: float
    method: str
    days_from: int
    days_to: int

    def mapped(self, function: object, unit: str, *, turns: bool = False) -> Estimate:
        """Return the estimate through a monotone function; `turns` swaps the ends."""
        assert callable(function)
        ends = [function(self.low), function(self.high)]
        low, high = reversed(ends) if turns else ends
        return replace(self, value=function(self.value), low=low, high=high, unit=unit)

    def widened(self, systematic: float) -> Estimate:
        """Return the estimate with a systematic standard uncertainty that does not cancel, in quadrature (k = 2 on each side)."""
        half = 2.0 * systematic
        return replace(
            self,
            low=self.value - math.hypot(self.value - self.low, half),
            high=self.value + math.hypot(self.high - self.value, half),
        )


@dataclass(frozen=True)
class Outcome:
    """A row of `comparisons` in the making; `estimate` None when refused."""

    name: str
    estimate: Estimate | None
    verdict: str
    reason: str


def refused(name: str, rule: str) -> Outcome:
    """Return an outcome without a number; `rule` names what forbids one."""
    return Outcome(name, None, REFUSED, rule)


def judged(name: str, estimate: Estimate, caps: tuple[str, ...], *, better_is_up: bool = True) -> Outcome:
    """Judge a saving or gain: shown when the whole interval speaks for the new arm and no cap forbids it, worse when it speaks against.

    A cap forbids "shown", never "worse": evidence of harm is told whatever the design.
    """
    low, high = (estimate.low, estimate.high) if better_is_up else (-estimate.high, -estimate.low)
    if high < 0.0:
        return Outcome(name, estimate, WORSE, "the whole interval speaks against the new arrangement")
    if low > 0.0 and not caps:
        return Outcome(name, estimate, SHOWN, "the whole interval speaks for the new arrangement")
    if low > 0.0:
        return Outcome(name, estimate, NOT_SHOWN, "compatible with a gain, not shown: " + "; ".join(caps))
    return Outcome(name, estimate, NOT_SHOWN, "the interval holds no difference")


def saving_pct(ln_ratio: float) -> float:
    """Return the saving [%] of a ln ratio new / old."""
    return 100.0 * (1.0 - math.exp(ln_ratio)) if math.isfinite(ln_ratio) else -math.copysign(math.inf, ln_ratio)
