"""The views of the published file: columns with unit and description, derived from the tables they show."""

from __future__ import annotations

from dataclasses import replace

from schemas import TABLES
from schemas.kpis.sql_text import us_forms
from schemas.model import Column, Table
from schemas.views.balances import BALANCE_VIEWS
from schemas.views.lab import LAB_VIEWS
from schemas.views.logs import LOG_VIEWS
from schemas.views.trust import DOSE_UNCERTAINTY_WEEK, METER_DOUBTS, RESTATEMENTS, USUAL_RANGES

US = us_forms()  # column of a KPI table -> (column of its _us view, unit)
# column of minutes -> (column of minutes_us, unit); columns of other roles stay as they are, their unit in the name
US_MINUTES = {
    "sludge_flow_m3_h": ("sludge_flow_gpm", "US gal/min"),
    "polymer_neat_flow_m3_h": ("polymer_neat_flow_gph", "US gal/h"),
    "polymer_solution_flow_m3_h": ("polymer_solution_flow_gpm", "US gal/min"),
    "makedown_water_flow_m3_h": ("makedown_water_flow_gpm", "US gal/min"),
    "dilution_water_flow_m3_h": ("dilution_water_flow_gpm", "US gal/min"),
    "wash_water_flow_m3_h": ("wash_water_flow_gpm", "US gal/min"),
    "seal_water_flow_m3_h": ("seal_water_flow_gpm", "US gal/min"),
    "pump_suction_pressure_kpa": ("pump_suction_pressure_psi", "psi"),
    "pump_discharge_pressure_kpa": ("pump_discharge_pressure_psi", "psi"),
    "mixing_upstream_pressure_kpa": ("mixing_upstream_pressure_psi", "psi"),
    "mixing_downstream_pressure_kpa": ("mixing_downstream_pressure_psi", "psi"),
    "sludge_total_m3": ("sludge_total_gal", "US gal"),
    "polymer_total_m3": ("polymer_total_gal", "US gal"),
}
_LOCAL = "in plant time; the repeated hour in autumn shows twice"


def _us(table: Table) -> Table:
    columns: list[Column] = []
    for c in table.columns:
        name, unit = US.get(c.name, (c.name, c.unit))
        columns.append(replace(c, name=name, unit=unit))
        if c.name.endswith("_utc"):
            columns.append(Column(c.name.replace("_utc", "_local"), "local", "-", f"{c.description}, {_LOCAL}"))
    return replace(table, name=f"{table.name}_us", description=f"{table.description} In US units.", columns=tuple(columns))


def _local(table: Table, *names: str) -> Table:
    first = tuple(Column(n.replace("_utc", "_local"), "local", "-", f"{n.removesuffix('_utc')} {_LOCAL}") for n in names)
    return replace(table, name=f"{table.name}_local", description=f"{table.description} With plant time.", columns=first + table.columns)


def _minutes_us(table: Table) -> Table:
    """Return minutes_local with the columns named in US_MINUTES in US units."""
    named = {c.name: US_MINUTES.get(c.name, (c.name, c.unit)) for c in table.columns}
    columns = tuple(replace(c, name=named[c.name][0], unit=named[c.name][1]) for c in table.columns)
    return replace(table, name="minutes_us", description=f"{table.description} In US units.", columns=columns)


VIEWS: dict[str, Table] = {
    view.name: view
    for view in (
        *(_us(TABLES[name]) for name in ("kpi_hour", "kpi_shift", "kpi_day", "kpi_week", "kpi_rolling")),
        _local(TABLES["minutes"], "minute_utc"),
        _minutes_us(_local(TABLES["minutes"], "minute_utc")),
        _local(TABLES["flags"], "start_utc", "end_utc"),
        *LAB_VIEWS,
        *LOG_VIEWS,
        DOSE_UNCERTAINTY_WEEK,
        RESTATEMENTS,
        USUAL_RANGES,
        METER_DOUBTS,
        *BALANCE_VIEWS,
    )
}
