"""What the plant file says of a line's KPIs: targets in stored units, and which it has no signals for."""

from __future__ import annotations

from pipelines.plant.model import PlantFile, Target
from pipelines.report.numbers import Limits


def limits(plant_file: PlantFile, line: str) -> dict[str, Limits]:
    """Return the limits of a line by KPI column; a later block of the same KPI replaces an earlier one."""
    return {t.kpi: _limits(t) for t in plant_file.targets if t.line == line}


def unmeasured(plant_file: PlantFile, line: str) -> frozenset[str]:
    """Return the KPI columns of the page for which the line has no signals: the mixing pressure drop, without both its gauges."""
    roles = {s.role for s in plant_file.signals_of(line)}
    return frozenset() if {"mixing_upstream_pressure", "mixing_downstream_pressure"} <= roles else frozenset({"mixing_dp_ref_kpa"})


def _limits(target: Target) -> Limits:
    return Limits(
        None if target.at_least is None else target.si(target.at_least),
        None if target.at_most is None else target.si(target.at_most),
    )
