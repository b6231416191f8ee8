"""Numbers as a reader meets them: the printed unit, its rounding, and the words that judge it. Pure.

Words judge the number as printed: what reads 22.0 is in a target of at most 22. Limits belong to the range.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from pipelines.base import units

NOT_ENOUGH = "not enough data to say"
NOT_MEASURED = "not measured here"
# Below this a change from last week is called none whatever its noise; doses are printed to three digits [%].
NO_CHANGE_PCT = 1.0
_SHORT_TON_T = units.unit("short_ton").factor / 1000.0


def three_digits(value: float) -> str:
    """Return three significant digits, no exponent: 14.6, 7.30, 152, 1,520."""
    return _significant(value, 3)


def two_digits(value: float) -> str:
    """Return two significant digits, no exponent: 190, 9.4."""
    return _significant(value, 2)


def _significant(value: float, digits: int) -> str:
    rounded = float(f"{value:.{digits - 1}e}")
    if rounded == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
    return f"{rounded:,.{decimals}f}"


def one_decimal(value: float) -> str:
    """Return one decimal: 22.6."""
    return f"{value:,.1f}"


def whole(value: float) -> str:
    """Return a whole number: 95."""
    return f"{value:,.0f}"


def tons(value: float) -> str:
    """Return whole tons from ten on, one decimal below: 88, 9.4."""
    return whole(value) if round(value, 1) >= 10 else one_decimal(value)


def limit(value: float) -> str:
    """Return a limit of the plant file as it was meant: up to four digits, no trailing zeros: 22, 21.5, 96.5."""
    text = _significant(value, 4)
    return text.rstrip("0").rstrip(".") if "." in text else text


def as_printed(text: str) -> float:
    """Return the number a printed text stands for."""
    return float(text.replace(",", ""))


@dataclass(frozen=True)
class Printed:
    """How a KPI is printed: its column, label, unit words, factor from the stored unit, rounding, and a finer one that shows a change it hides."""

    kpi: str
    label: str
    unit: str
    factor: float
    digits: Callable[[float], str]
    finer: Callable[[float], str] | None = None

    def text(self, stored: float | None) -> str | None:
        """Return a stored value as printed; None stays None."""
        return None if stored is None else self.digits(stored * self.factor)

    def limit(self, stored: float | None) -> str | None:
        """Return a stored limit as printed; None stays None."""
        return None if stored is None else limit(stored * self.factor)

    def beside(self, this: float | None, last: float | None) -> Printed:
        """Return the same with the finer rounding where two stored values would read alike without it."""
        if self.finer is None or this is None or last is None or self.text(this) != self.text(last):
            return self
        finer = replace(self, digits=self.finer)
        return finer if finer.text(this) != finer.text(last) else self


def six(system: str, settings: dict[str, Any]) -> tuple[Printed, ...]:
    """Return the six KPIs of the page in the plant's units ("US" or "SI"), with basis in every unit."""
    us = system == "US"
    ton = "short dry ton" if us else "tonne dry solids"
    per_ton = _SHORT_TON_T if us else 1.0
    psi = units.from_si(1.0, "psi")
    flow = units.from_si(settings["reference_flow_m3_h"], "gpm" if us else "m3/h")
    at = f"{limit(flow)} {'gpm' if us else 'm3/h'}"
    return (
        Printed("dose_active_kg_t", "Polymer dose", f"{'lb' if us else 'kg'} active per {ton}", 2.0 if us else 1.0, three_digits),
        Printed("cake_ts_pct", "Cake solids", "% total solids by mass", 1.0, one_decimal),
        Printed("capture_pct", "Solids capture", "% of feed solids", 1.0, whole, one_decimal),
        Printed("cost_total_per_t", "Total cost", f"{settings['currency']} per {ton} fed", per_ton, two_digits, three_digits),
        Printed("dry_solids_t", "Dry solids fed", f"{ton}s" if us else "tonnes dry solids", 1.0 / per_ton, tons),
        Printed("mixing_dp_ref_kpa", f"Mixing pressure drop at {at}", "psi" if us else "kPa", psi if us else 1.0, one_decimal),
    )


@dataclass(frozen=True)
class Limits:
    """Target and usual range of a KPI, in stored units; None: not set."""

    at_least: float | None = None
    at_most: float | None = None
    usual: tuple[float, float] | None = None


def target_text(printed: Printed, limits: Limits) -> str:
    """Return "at most 22", "at least 21.5", "93 to 96.5", or "not set"."""
    low, high = printed.limit(limits.at_least), printed.limit(limits.at_most)
    if low is not None and high is not None:
        return f"{low} to {high}"
    return f"at least {low}" if low is not None else f"at most {high}" if high is not None else "not set"


def usual_text(printed: Printed, limits: Limits) -> str:
    """Return "17 to 24", or "not set"."""
    return "not set" if limits.usual is None else f"{printed.limit(limits.usual[0])} to {printed.limit(limits.usual[1])}"


def against_target(printed: Printed, stored: float | None, limits: Limits) -> str | None:
    """Return "in target" or "outside target"; None without a value or a target. The limits themselves are in target."""
    if stored is None or (limits.at_least is None and limits.at_most is None):
        return None
    shown = as_printed(printed.digits(stored * printed.factor))
    low, high = printed.limit(limits.at_least), printed.limit(limits.at_most)
    fits = (low is None or shown >= as_printed(low)) and (high is None or shown <= as_printed(high))
    return "in target" if fits else "outside target"


def against_usual(printed: Printed, stored: float | None, limits: Limits) -> str | None:
    """Return "within usual range", "unusually high" or "unusually low"; None without a value or a range."""
    if stored is None or limits.usual is None:
        return None
    shown = as_printed(printed.digits(stored * printed.factor))
    if shown > as_printed(limit(limits.usual[1] * printed.factor)):
        return "unusually high"
    return "unusually low" if shown < as_printed(limit(limits.usual[0] * printed.factor)) else "within usual range"


def judged(printed: Printed, stored: float | None, limits: Limits) -> tuple[str, ...]:
    """Return the words about a number; NOT_ENOUGH when there is no number."""
    if stored is None:
        return (NOT_ENOUGH,)
    found = (against_target(printed, stored, limits), against_usual(printed, stored, limits))
    return tuple(w for w in found if w) or ("no target set",)


def change(this: float, last: float) -> str:
    """Return "2 % above last week", "5 % below last week", or "unchanged from last week" below NO_CHANGE_PCT."""
    if last == 0:
        return "not comparable with last week"
    percent = (this / last - 1.0) * 100.0
    if abs(percent) < NO_CHANGE_PCT:
        return "unchanged from last week"
    return f"{abs(percent):.0f} % {'above' if percent > 0 else 'below'} last week"


def plus_minus(shown: str, u: float) -> str:
    """Return "± 0.97": `u` in the printed unit with the decimals of the number it belongs to, at least one digit that is not zero."""
    decimals = len(shown.partition(".")[2])
    text = f"{u:,.{decimals}f}"
    return f"± {text if as_printed(text) else _significant(u, 1)}"


def counted(number: int, one: str, many: str | None = None) -> str:
    """Return "1 day", "5 days"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
