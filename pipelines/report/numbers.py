"""Numbers as a reader meets them: the printed unit and its rounding. Pure; texts of numbers are in English signs until a page prints them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from pipelines.base import units
from pipelines.report.language import Language
from schemas.kpis.columns import ROUNDING

COVERAGE = 2.0  # k of an expanded uncertainty: about 95 % (JCGM 100:2008 6.2, from memory)
SHORT_TON_T = units.unit("short_ton").factor / 1000.0


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


# How the words that KPIs declare as their rounding (schemas/kpis) print a number.
ROUNDED: dict[str, Callable[[float], str]] = {
    "three digits": three_digits, "two digits": two_digits, "one decimal": one_decimal, "whole": whole, "tons": tons,
}  # fmt: skip


def minus(text: str) -> str:
    """Return a printed number with the sign of print in place of the hyphen."""
    return text.replace("-", "−")


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


@dataclass(frozen=True)
class Limits:
    """Target of a KPI, in stored units; None: not set."""

    at_least: float | None = None
    at_most: float | None = None


def six(system: str, settings: dict[str, Any], t: Language, has_all_solids: bool = False) -> tuple[Printed, ...]:
    """Return the six KPIs of a weekly page in the plant's units ("US" or "SI"), with the basis in every unit.

    `has_all_solids`: the week says the solids of all fed minutes, which are then the tons fed; otherwise those of valid minutes stand for them.
    """
    us = system == "US"
    per_ton = SHORT_TON_T if us else 1.0
    psi = units.from_si(1.0, "psi")
    flow = units.from_si(settings["reference_flow_m3_h"], "gpm" if us else "m3/h")
    at = f"{t.numeral(limit(flow))} {'gpm' if us else 'm3/h'}"
    solids = "dry_solids_all_t" if has_all_solids else "dry_solids_t"

    def printed(kpi: str, name: str, factor: float, finer: Callable[[float], str] | None = None, **given: str) -> Printed:
        return Printed(kpi, t(f"kpi.{name}"), t(f"unit.{name}_{system.lower()}", **given), factor, ROUNDED[ROUNDING[kpi]], finer)

    return (
        printed("dose_active_kg_t", "dose", 2.0 if us else 1.0),
        printed("cake_ts_pct", "cake", 1.0),
        printed("capture_pct", "capture", 1.0, one_decimal),
        printed("cost_total_per_t", "cost", per_ton, three_digits, currency=settings["currency"]),
        printed(solids, "solids", 1.0 / per_ton),
        printed("mixing_dp_ref_kpa", "mixing", psi if us else 1.0, flow=at),
    )


def plus_minus(shown: str, width: float) -> str:
    """Return the half width in the printed unit with the decimals of the number it belongs to, at least one digit that is not zero."""
    decimals = len(shown.partition(".")[2])
    text = f"{width:,.{decimals}f}"
    return text if as_printed(text) else _significant(width, 1)
