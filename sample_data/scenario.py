"""The three invented plants as numbers: what they are built of and how they truly behave.

All values are assumptions of the demonstration. US plants are simulated in gpm, psi and pounds, the third in m3/h, bar
and kilograms; each keeps its own units up to the export.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class LineScenario:
    """One line: sizes, chemistry and the truth the pipeline should find."""

    line: str
    feed_ts_pct: float  # centre of the feed total solids
    flow_set: float  # feed flow set-point (gpm or m3/h)
    demand: float  # dose at which relative dose is 1 (lb/dt or kg/t)
    vs_pct: float
    cv_old: float  # valve or mixer: dP = (Q/Cv)^2, psi or bar
    cv_new: float
    kappa: float  # per unit of mixing pressure: effectiveness exp(-kappa dP)
    ratio_new: float  # effectiveness of the new arrangement set directly (1: by kappa alone)
    cake_gain: float  # points of cake solids of the new arrangement
    wash: float  # wash water (gpm or m3/h)
    old_slip_per_1000_h: float  # growth of displacement slip of the old pump
    change: str  # "step", "none", "weeks", "pairs"


@dataclass(frozen=True)
class PlantScenario:
    """A plant: its clock, its units and its lines."""

    plant: str
    zone: str
    day_start_h: int
    us: bool
    startup_min: int
    feed_cutoff: float
    polymer_cutoff: float  # in the unit of the polymer meter
    polymer_meter: str  # neat or solution
    density: float  # polymer as supplied: lb/gal or kg/L
    active: float
    strength_pct: float
    dilution: str  # "polymer" or "polymer and wash"
    reference_flow: float
    lines: tuple[LineScenario, ...]


CHANGE_DAY = date(2026, 3, 3)
_ALDER = LineScenario("line-1", 2.4, 400.0, 17.0, 64.0, 73.0, 280.0, 0.012, 1.0, 0.8, 80.0, 0.0, "step")
PLANTS: dict[str, PlantScenario] = {
    "alder-fork": PlantScenario(
        "alder-fork", "America/New_York", 6, True, 15, 20.0, 0.5, "neat", 8.6, 0.41, 0.40, "polymer and wash", 400.0,
        (_ALDER, LineScenario("line-2", 2.4, 390.0, 17.0, 64.0, 73.0, 73.0, 0.012, 1.0, 0.0, 80.0, 0.0, "none")),
    ),
    "kestrel-mesa": PlantScenario(
        "kestrel-mesa", "America/Phoenix", 6, True, 20, 15.0, 20.0, "solution", 0.0, 0.92, 0.35, "polymer", 250.0,
        (LineScenario("line-1", 3.1, 250.0, 21.0, 64.0, 53.3, 211.3, 0.011, 1.0, 1.2, 0.0, 0.35, "weeks"),),
    ),
    "brenholm": PlantScenario(
        "brenholm", "Europe/Copenhagen", 0, False, 60, 1.0, 0.05, "solution", 1.03, 0.48, 0.30, "polymer", 18.0,
        (LineScenario("line-1", 2.0, 18.0, 8.5, 64.0, 25.456, 80.5, 0.0, 0.96, -0.6, 1.2, 0.06, "pairs"),),
    ),
}  # fmt: skip
