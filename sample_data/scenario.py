"""The three invented plants as numbers: what they are built of and how they truly behave. All of it is assumed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from sample_data.physics import GPM_M3_H, LB_DT_KG_T

CHANGE_DAY = date(2026, 3, 3)  # line 1 of the first plant gets the new feed pump on this operating day
RUNGS = (0.55, 0.75, 0.95, 1.20)  # dose ladder of a trial, as a share of the nominal dose
TARGET_U = 1.15  # relative dose the operators aim at
FIRST_TRIAL_WEEK, TRIAL_WEEKS = 2, 12  # second plant: weeks of the old and new arrangement in turn, old first
FIRST_PAIR_DAY, PAIR_STEP = 42, 3  # third plant: pairs of days, every third day free
# The list of the third plant's trial, drawn once by lot like that of a frozen plan: dose of the pair as a share of the nominal dose, and
# whether the new arrangement has the first of the two days. Four pairs make a dose ladder of each arrangement.
PAIR_LIST = (
    (0.95, False), (0.55, True), (1.20, True), (0.75, False),
    (1.20, False), (0.95, True), (0.55, False), (0.75, True),
)  # fmt: skip


@dataclass(frozen=True)
class LineScenario:
    """One line: sizes, chemistry and the truth that should be found."""

    line: str
    flow_m3_h: float  # feed flow set-point
    cv_old: float  # valve or mixer of the old arrangement [gpm per root psi]
    cv_new: float  # the same of the new arrangement
    effect_ratio_new: float  # effectiveness of the new arrangement beyond what pressure explains
    cake_gain: float  # cake of the new arrangement at equal relative dose [points]
    wash_m3_h: float
    change: str  # step, none, weeks, pairs


@dataclass(frozen=True)
class PlantScenario:
    """A plant: its clock, its sludge, its polymer, its lines."""

    plant: str
    zone: str
    day_start_h: int
    shift_start_h: int
    shift_h: int  # the operators set the dose once per so many hours
    startup_min: int
    step_min: int  # quiet mode: signals change only on multiples of so many minutes
    feed_cutoff_m3_h: float
    polymer_cutoff_m3_h: float  # of the meter that carries the dose
    polymer_meter: str  # neat or solution
    density_kg_m3: float  # polymer as supplied
    active: float
    strength_pct: float  # active polymer in the made-down solution
    solution_max_m3_h: float  # what the polymer pump can give
    wash_dilutes: bool  # wash water reaches the filtrate sample
    paced: bool  # polymer follows the feed flow
    reference_flow_m3_h: float
    ts_pct: float
    vs_pct: float
    demand_kg_t: float  # dose at which the relative dose is 1
    kappa_per_psi: float  # effectiveness = exp(-kappa dP)
    device_kw: float
    pump: str  # rotodynamic or displacement
    rev_m3_h: float  # displacement pump: flow per rpm without slip
    slip_m3_h_kpa: float  # and slip flow per kPa as new
    old_wear: float  # rotodynamic: head lost per year; displacement: slip growth per 1,000 run hours
    new_wear_per_year: float
    lines: tuple[LineScenario, ...]


GAL_PER_HOUR = 0.003785411784  # [m3/h]
LB_PER_GAL = 119.826427  # [kg/m3]
_ALDER = PlantScenario(
    plant="alder-fork", zone="America/New_York", day_start_h=6, shift_start_h=6, shift_h=24, startup_min=15, step_min=1,
    feed_cutoff_m3_h=20 * GPM_M3_H, polymer_cutoff_m3_h=0.5 * GAL_PER_HOUR, polymer_meter="neat", density_kg_m3=8.6 * LB_PER_GAL,
    active=0.41, strength_pct=0.40, solution_max_m3_h=58 * GPM_M3_H, wash_dilutes=True, paced=False, reference_flow_m3_h=400 * GPM_M3_H,
    ts_pct=2.4, vs_pct=64.0, demand_kg_t=17.0 * LB_DT_KG_T, kappa_per_psi=0.012, device_kw=9.0, pump="rotodynamic", rev_m3_h=0.0,
    slip_m3_h_kpa=0.0, old_wear=0.02, new_wear_per_year=0.001,
    lines=(
        LineScenario("line-1", 400 * GPM_M3_H, 73.0, 280.0, 1.0, 0.8, 80 * GPM_M3_H, "step"),
        LineScenario("line-2", 390 * GPM_M3_H, 73.0, 73.0, 1.0, 0.0, 80 * GPM_M3_H, "none"),
    ),
)  # fmt: skip
_SORREL = PlantScenario(
    plant="sorrel-draw", zone="America/Phoenix", day_start_h=6, shift_start_h=6, shift_h=8, startup_min=20, step_min=1,
    feed_cutoff_m3_h=15 * GPM_M3_H, polymer_cutoff_m3_h=20 * GAL_PER_HOUR, polymer_meter="solution", density_kg_m3=750.0,
    active=0.92, strength_pct=0.35, solution_max_m3_h=2900 * GAL_PER_HOUR, wash_dilutes=False, paced=True,
    reference_flow_m3_h=250 * GPM_M3_H, ts_pct=3.1, vs_pct=64.0, demand_kg_t=21.0 * LB_DT_KG_T, kappa_per_psi=0.011, device_kw=42.0,
    pump="displacement", rev_m3_h=1.6 * GPM_M3_H, slip_m3_h_kpa=0.6 * GPM_M3_H / 6.894757, old_wear=0.35, new_wear_per_year=0.0015,
    lines=(LineScenario("line-1", 250 * GPM_M3_H, 53.30, 211.3, 1.0, 1.2, 0.0, "weeks"),),
)  # fmt: skip
_BRENHOLM = PlantScenario(
    plant="brenholm", zone="Europe/Copenhagen", day_start_h=0, shift_start_h=7, shift_h=8, startup_min=60, step_min=15,
    feed_cutoff_m3_h=1.0, polymer_cutoff_m3_h=0.05, polymer_meter="solution", density_kg_m3=1030.0,
    active=0.48, strength_pct=0.30, solution_max_m3_h=2.9, wash_dilutes=False, paced=True,
    reference_flow_m3_h=18.0, ts_pct=2.0, vs_pct=64.0, demand_kg_t=8.5, kappa_per_psi=0.0, device_kw=1.6,
    pump="displacement", rev_m3_h=0.12, slip_m3_h_kpa=0.0035, old_wear=0.06, new_wear_per_year=0.0015,
    lines=(LineScenario("line-1", 18.0, 29.43, 93.1, 0.96, -0.6, 1.2, "pairs"),),
)  # fmt: skip
PLANTS: dict[str, PlantScenario] = {p.plant: p for p in (_ALDER, _SORREL, _BRENHOLM)}


def potency_shift(plant: PlantScenario, line: LineScenario) -> float:
    """Return the true share of dose the new arrangement saves at equal relative dose and reference flow; negative: it costs more."""
    q_gpm = plant.reference_flow_m3_h / GPM_M3_H
    saved_psi = (q_gpm / line.cv_old) ** 2 - (q_gpm / line.cv_new) ** 2
    return 1.0 - math.exp(-plant.kappa_per_psi * saved_psi) / (1.0 if line.change == "none" else line.effect_ratio_new)
