"""The values of days that outcomes compare: column, scale, and the unit the difference of arms is told in."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from pipelines.compare.outcomes import Estimate, saving_pct


@dataclass(frozen=True)
class Value:
    """A column of days; `is_ln`: arms differ by a ratio; `shown` turns the difference (of ln) into the unit, `turns` swaps the ends."""

    column: str
    is_ln: bool
    unit: str
    shown: Callable[[float], float] = float
    turns: bool = False

    def of(self, difference: Estimate, unit: str | None = None) -> Estimate:
        """Return the difference of arms in the unit of the outcome."""
        return difference.mapped(self.shown, unit or self.unit, turns=self.turns)


def percent_more(ln_ratio: float) -> float:
    """Return by how many percent the new arm is higher; infinite ends stay infinite."""
    return 100.0 * math.expm1(ln_ratio) if math.isfinite(ln_ratio) else ln_ratio


def ratio(ln_ratio: float) -> float:
    """Return new / old."""
    return math.exp(ln_ratio) if math.isfinite(ln_ratio) else max(ln_ratio, 0.0)


def saved(difference: float) -> float:
    """Return what the new arm costs less."""
    return -difference


OF_OUTCOME: dict[str, Value] = {
    "fed-dose saving": Value("dose_active_kg_t", True, "%", saving_pct, turns=True),
    "cake": Value("cake_ts_pct", False, "% TS"),
    "capture": Value("capture_pct", False, "%"),
    "filtrate": Value("filtrate_tss_mg_l", True, "ratio", ratio),
    "throughput": Value("throughput_t_h", True, "%", percent_more),
    "mixing pressure drop": Value("mixing_dp_ref_kpa", False, "kPa"),
    "all-in saving": Value("cost_per_t", False, "/t", saved, turns=True),
}
