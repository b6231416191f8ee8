"""Inputs of each KPI of a line that a plant file provides, and those missing."""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.plant import registers
from pipelines.plant.model import Line, PlantFile

# (sample point, analyte); moisture is 100 - TS, so either gives the solids of a point.
_FEED_TS, _CAKE_TS, _FILTRATE_TSS = ("feed", "ts"), ("cake", "ts"), ("filtrate", "tss")


@dataclass(frozen=True)
class Need:
    """One KPI of a line and the inputs it lacks; none missing means the plant file provides for it."""

    line: str
    kpi: str
    missing: tuple[str, ...]


def needs(plant_file: PlantFile) -> list[Need]:
    """Return, for every line, each group of KPIs with the inputs missing for it."""
    return [need for line in plant_file.lines for need in _of_line(plant_file, line)]


def _of_line(plant_file: PlantFile, line: Line) -> list[Need]:
    roles = {signal.role for signal in plant_file.signals_of(line.id)} | set(registers.flows_by_register(plant_file, line))
    samples = lab_results(plant_file, line.id)

    def role(*any_of: str) -> str:
        return "" if roles & set(any_of) else f"a signal of role {' or '.join(any_of)}"

    def lab(point: str, analyte: str) -> str:
        return "" if (point, analyte) in samples else f"a lab result {point} {analyte}"

    feed_ts = "" if "feed_solids" in roles or _FEED_TS in samples else "a lab result feed ts, or a signal of role feed_solids"
    neat = line.polymer_meter == "neat"
    dose = (role("sludge_flow"), role("polymer_neat_flow" if neat else "polymer_solution_flow"), feed_ts, _product(plant_file, line, neat))
    wash = role("wash_water_flow") if line.dilution_counted == "polymer and wash" else ""
    water = _polymer_water(plant_file, line, roles) if line.dilution_counted != "none" else ""
    cake = lab(*_CAKE_TS)
    priced = [bool(getattr(p, "disposal_wet", None)) for p in plant_file.prices]
    asked = {
        "run hours, running state": (role("pump_run", "pump_speed", "pump_power", "sludge_flow"),),
        "polymer dose": dose,
        "cake solids": (cake,),
        "solids capture": (feed_ts, cake, lab(*_FILTRATE_TSS), role("sludge_flow"), water, wash),
        "pump differential pressure": (role("pump_suction_pressure"), role("pump_discharge_pressure")),
        "mixing pressure drop": (role("mixing_upstream_pressure"), role("mixing_downstream_pressure"), role("sludge_flow")),
        "energy per ton": (*dose, role("pump_power", "device_power", "energy_total")),
        "cost per ton": (*dose, cake, _polymer_price(plant_file, line), "" if any(priced) else "a price disposal_wet"),
    }
    return [Need(line.id, kpi, tuple(dict.fromkeys(text for text in inputs if text))) for kpi, inputs in asked.items()]


def lab_results(plant_file: PlantFile, line: str) -> set[tuple[str, str]]:
    """Return the (point, analyte) pairs that lab sheets can bring for a line; moisture counts as ts."""
    found = {(r.point, r.analyte) for layout in plant_file.layouts for r in layout.results if line in layout.lines_of(r)}
    if any(layout.kind == "lab long" for layout in plant_file.layouts):
        points = {p.point for p in plant_file.lab.sample_points if p.line == line}
        found |= {(point, name.analyte) for point in points for name in plant_file.lab.analytes}
    return {(point, "ts" if analyte == "moisture" else analyte) for point, analyte in found}


def _product(plant_file: PlantFile, line: Line, neat: bool) -> str:
    products = [p for p in plant_file.polymers if line.id in p.lines]
    if not products:
        return "a [[polymers]] block for the line"
    return "" if neat or _has_strength(plant_file, line) else "solution_strength_pct of the polymer, or its measurement"


def _has_strength(plant_file: PlantFile, line: Line) -> bool:
    """Return whether the strength of the solution is stated or measured online: what the dose is computed from."""
    stated = any(p.solution_strength_pct for p in plant_file.polymers if line.id in p.lines)
    return stated or any(s.role == "polymer_solution_strength" for s in plant_file.signals_of(line.id))


def _polymer_water(plant_file: PlantFile, line: Line, roles: set[str]) -> str:
    """Return what is missing for the flow of made-down polymer, which dilutes the filtrate: metered, neat + water, or from the strength."""
    metered = "polymer_solution_flow" in roles or {"polymer_neat_flow", "makedown_water_flow"} <= roles
    if metered or _has_strength(plant_file, line):
        return ""
    return (
        "a signal of role polymer_solution_flow, or makedown_water_flow beside polymer_neat_flow, or solution_strength_pct of the polymer"
    )


def _polymer_price(plant_file: PlantFile, line: Line) -> str:
    return "" if any(p.price_neat for p in plant_file.polymers if line.id in p.lines) else "price_neat of the polymer"
