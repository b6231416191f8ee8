"""What the declaration of a KPI column says, and what follows from it: its US form, its place in the catalogue, how it adds up.

A column is declared once, in a module of this package, by one of `total`, `count`, `ratio`, `whole`, `word`. The SQL that
follows from the declarations (`is_kpi_total`, `is_kpi_count`, `kpi_us`, `kpi_day_us`) is written by `python -m schemas`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from schemas.model import Column

# unit -> (macro of sql/macros that converts it, US unit); exact conversions, a unit that is not here stays as it is
US_UNITS: dict[str, tuple[str, str]] = {
    "m3": ("m3_to_gal", "US gal"),
    "m3/h": ("m3_h_to_gpm", "US gal/min"),
    "m3/h/m": ("m3_h_to_gpm", "US gal/min/m"),
    "m3/t": ("m3_t_to_gal_dt", "US gal/short dry ton"),
    "m": ("m_to_ft", "ft"),
    "t": ("t_to_short_ton", "short ton"),
    "t/h": ("t_to_short_ton", "short ton/h"),
    "kg": ("kg_to_lb", "lb"),
    "kg/h": ("kg_to_lb", "lb/h"),
    "kg/h/m": ("kg_to_lb", "lb/h/m"),
    "kg/t": ("kg_t_to_lb_dt", "lb/short dry ton"),
    "g/m3": ("g_m3_to_lb_kgal", "lb/1,000 US gal"),
    "kPa": ("kpa_to_psi", "psi"),
    "kWh/t": ("per_t_to_per_short_ton", "kWh/short dry ton"),
    "currency/t": ("per_t_to_per_short_ton", "currency/short dry ton"),
}
# Another US unit than that of the SI unit, by its own macro.
OTHER_US_UNITS = {("m3/h", "US gal/h"): "m3_h_to_gph"}
# End of a column name -> end of its US name; a column whose US name reads otherwise declares it.
_US_ENDS = (
    ("_m3_h", "_gpm"), ("_m3_t", "_gal_per_dry_ton"), ("_kwh_t", "_kwh_per_dry_ton"), ("_per_t", "_per_dry_ton"), ("_m3", "_gal"),
    ("_kpa", "_psi"), ("_kg_h", "_lb_h"), ("_kg", "_lb"), ("_t_h", "_short_tons_h"), ("_m", "_ft"),
)  # fmt: skip


@dataclass(frozen=True)
class Kpi:
    """Head of a KPI of the catalogue; `gate` is the column that says why it is null, `outside` the published figure it is checked against."""

    number: int
    name: str
    symbol: str
    formula: str
    gate: str = ""
    note: str = ""
    outside: str = ""


@dataclass(frozen=True)
class KpiColumn(Column):
    """A column of the KPI tables: `kind` total, count, ratio or word; `kpi` its head, or the number of a head declared above."""

    kind: str = "word"
    kpi: Kpi | int | None = None
    us: str | None = None
    us_unit: str | None = None
    rounding: str | None = None

    @property
    def converter(self) -> str | None:
        """Return the macro that converts the column to US units; None: it stays as it is."""
        if self.us_unit is not None:
            return OTHER_US_UNITS[self.unit, self.us_unit]
        return US_UNITS[self.unit][0] if self.unit in US_UNITS else None

    def us_form(self) -> tuple[str, str] | None:
        """Return (name, unit) in US units; None: the column stays as it is."""
        if self.converter is None:
            return None
        name = self.us or next((self.name.removesuffix(si) + end for si, end in _US_ENDS if self.name.endswith(si)), None)
        if name is None:
            raise ValueError(f"{self.name} [{self.unit}] needs us = its name in US units")
        return name, self.us_unit or US_UNITS[self.unit][1]


def total(name: str, unit: str, description: str, **more: Any) -> KpiColumn:
    """Declare what adds up over minutes and over days; minute_kpi.sql has it under the same name where it adds up over minutes as it is."""
    return KpiColumn(name, "double", unit, description, kind="total", **more)


def count(name: str, unit: str, description: str, **more: Any) -> KpiColumn:
    """Declare a number of minutes, samples or events that adds up over days."""
    return KpiColumn(name, "int", unit, description, kind="count", **more)


def ratio(name: str, unit: str, description: str, **more: Any) -> KpiColumn:
    """Declare a ratio of totals, a mean or a setting: what does not add up."""
    return KpiColumn(name, "double", unit, description, kind="ratio", **more)


def whole(name: str, unit: str, description: str, **more: Any) -> KpiColumn:
    """Declare a whole number that does not add up over days."""
    return KpiColumn(name, "int", unit, description, kind="ratio", **more)


def word(name: str, kind: str, description: str, **more: Any) -> KpiColumn:
    """Declare a text, a yes or no, or a time."""
    return KpiColumn(name, kind, "-", description, **more)
