"""The rest of what a perfect pipeline would report for each operating day: rates, times, water, energy, hydraulics.

Some of it needs assumptions that no instrument measures; they stand here as constants, and a plant file that is held against
this truth must say the same (tests/property/test_truth.py adds them). Noise-free, SI units, own formulas.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sample_data import physics as ph
from sample_data.axis import Axis
from sample_data.physics import GPM_M3_H, Array
from sample_data.process import Truth
from sample_data.scenario import PlantScenario

Bools = NDArray[np.bool_]
Row = dict[str, float | None]

SUCTION_MINIMUM_KPA = -20.0
DISCHARGE_MAXIMUM_KPA = 900.0
DRIVE_EFFICIENCY = 0.92
MIXING_VOLUME_M3 = 0.010
VISCOSITY_PA_S = 0.005
TANK_M3 = 3.0
BELT_WIDTH_M = 2.0
PLANNED_MIN = (420, 900)  # 07:00 to 15:00 on Monday to Friday, wall clock
SHORT_MIN = 10
PIPES_IN = {"alder-fork": (8.0, 6.0), "sorrel-draw": (6.0, 6.0), "brenholm": (100.0 / 25.4, 80.0 / 25.4)}  # suction, discharge
_MAD_TO_SD = 1.4826


def kpis(plant: PlantScenario, ax: Axis, t: Truth) -> list[Row]:
    """Return one dict per operating day; what has no denominator is None."""
    all_time, while_processing = _all_time(plant, ax, t), _while_processing(plant, t)
    everywhere = {k: _by_day(ax, v, ax.day >= 0) for k, v in all_time.items()}
    processed = {k: _by_day(ax, v, t.processing) for k, v in while_processing.items()}
    spread, lowest = _variability_pct(ax, t), _lowest_suction(ax, t)
    out = []
    for i in range(len(ax.days)):
        row = _times({k: float(v[i]) for k, v in everywhere.items()})
        if processed["minutes"][i]:
            row |= _rates(plant, {k: float(v[i]) for k, v in (everywhere | processed).items()})
            row |= {"dose_variability_pct": spread[i], "suction_margin_lowest_kpa": lowest[i] - SUCTION_MINIMUM_KPA}
        out.append(row)
    return out


def _by_day(ax: Axis, values: Array, where: Bools) -> Array:
    return np.bincount(ax.day[where], weights=values[where], minlength=len(ax.days))


def _all_time(plant: PlantScenario, ax: Axis, t: Truth) -> dict[str, Array]:
    """Return minute values whose sums over all minutes of a day are wanted."""
    r, on = t.roles, t.roles["pump_run"] > 0
    feeding = on & (r["sludge_flow"] > plant.feed_cutoff_m3_h)
    minutes = np.arange(ax.n)
    fed_for = minutes - np.maximum.accumulate(np.where(feeding, -1, minutes))
    starting = feeding & (r["device_run"] > 0) & (fed_for <= plant.startup_min)
    before = np.concatenate(([False], on[:-1]))
    stopped = ~on & before
    on_for = minutes - np.maximum.accumulate(np.where(on, -1, minutes))
    planned = (ax.weekday <= 5) & (ax.clock >= PLANNED_MIN[0]) & (ax.clock < PLANNED_MIN[1])
    dry = r["sludge_flow"] < plant.feed_cutoff_m3_h
    return {
        "calendar": np.ones(ax.n), "on": on, "idle": on & ~t.processing & ~starting, "starts": on & ~before, "stops": stopped,
        "short": stopped & (np.concatenate(([0], on_for[:-1])) < SHORT_MIN), "planned": planned, "down": planned & ~on,
        "dry_run": on & (dry | (r["pump_suction_pressure"] < SUCTION_MINIMUM_KPA)),
        "deadhead": dry & (r["pump_discharge_pressure"] > DISCHARGE_MAXIMUM_KPA),
        "energy_all": (r["pump_power"] + r["device_power"]) / 60.0, "wash_all": r["wash_water_flow"] / 60.0,
        "solution_all": r["polymer_solution_flow"] / 60.0,
    }  # fmt: skip


def _while_processing(plant: PlantScenario, t: Truth) -> dict[str, Array]:
    """Return minute values whose sums over the processing minutes of a day are wanted."""
    r = t.roles
    flow, solids = r["sludge_flow"], r["sludge_flow"] * t.sludge.ts_pct / 100.0
    rise = r["pump_discharge_pressure"] - r["pump_suction_pressure"]
    bore_in, bore_out = PIPES_IN[plant.plant]
    q = flow / GPM_M3_H
    velocity_kpa = (ph.velocity_head_ft(q, bore_out) - ph.velocity_head_ft(q, bore_in)) * 0.3048 * 9.80665
    return {
        "minutes": np.ones(len(flow)), "feed": flow / 60.0, "solids": solids / 60.0, "active": t.polymer_active_kg_h / 60.0,
        "solution": r["polymer_solution_flow"] / 60.0, "wash": r["wash_water_flow"] / 60.0,
        "lost": solids * (1.0 - t.capture) / 60.0, "cake": solids * t.capture / t.cake_ts_pct * 100.0 / 60.0,
        "mixing_work": (r["mixing_upstream_pressure"] - r["mixing_downstream_pressure"]) * flow / 60.0,
        "electric": r["pump_power"] / 60.0, "hydraulic": flow * rise / 3600.0 / 60.0, "head": flow * (rise + velocity_kpa) / 3600.0 / 60.0,
        "suction": r["pump_suction_pressure"],
    }  # fmt: skip


def _times(s: dict[str, float]) -> Row:
    run_h = s["on"] / 60.0
    return {
        "running_h": run_h, "idle_h": s["idle"] / 60.0, "idle_share": s["idle"] / s["on"] if s["on"] else None, "stops": s["stops"],
        "short_runs": s["short"], "starts_per_run_hour": s["starts"] / run_h if run_h else None,
        "mean_run_h": run_h / s["stops"] if s["stops"] else None, "planned_h": s["planned"] / 60.0, "down_h": s["down"] / 60.0,
        "availability_share": 1.0 - s["down"] / s["planned"] if s["planned"] else None, "dry_run_minutes": s["dry_run"],
        "deadhead_minutes": s["deadhead"], "energy_all_kwh": s["energy_all"], "wash_water_all_m3": s["wash_all"],
        "polymer_water_all_m3": s["solution_all"], "polymer_solution_all_m3": s["solution_all"],
        "solution_age_h": TANK_M3 * s["calendar"] / 60.0 / s["solution_all"] if s["solution_all"] else None,
    }  # fmt: skip


def _rates(plant: PlantScenario, s: dict[str, float]) -> Row:
    hours, work = s["minutes"] / 60.0, s["mixing_work"] / s["feed"]
    flow, rate = s["feed"] / hours, 1000.0 * s["solids"] / hours
    residence_s = MIXING_VOLUME_M3 / flow * 3600.0
    gradient = np.sqrt(work * 1000.0 / residence_s / VISCOSITY_PA_S)
    belt = plant.plant == "alder-fork"
    return {
        "utilisation_calendar_share": s["minutes"] / s["calendar"], "dosed_feed_m3": s["feed"], "solids_rate_kg_h": rate,
        "throughput_t_h": rate / 1000.0, "polymer_rate_kg_h": s["active"] / hours, "dose_g_m3": 1000.0 * s["active"] / s["feed"],
        "hydraulic_loading_m3_h_per_m": flow / BELT_WIDTH_M if belt else None, "hydraulic_loading_m3_h_per_unit": None if belt else flow,
        "solids_loading_kg_h_per_m": rate / BELT_WIDTH_M if belt else None, "solids_loading_kg_h_per_unit": None if belt else rate,
        "polymer_solution_m3": s["solution"], "polymer_feed_ratio_pct": 100.0 * s["solution"] / s["feed"],
        "solution_strength_used_pct": 0.1 * s["active"] / s["solution"],
        "recycle_solids_kg": 1000.0 * s["lost"], "cake_wet_t": s["cake"], "mixing_work_kj_m3": work, "mixing_g_1_s": float(gradient),
        "mixing_gt": float(gradient) * residence_s, "pump_electric_kwh": s["electric"], "pump_hydraulic_kwh": s["hydraulic"],
        "wire_to_water_pct": 100.0 * s["hydraulic"] / s["electric"],
        "pump_efficiency_pct": 100.0 * s["head"] / s["electric"] / DRIVE_EFFICIENCY,
        "suction_margin_kpa": s["suction"] / s["minutes"] - SUCTION_MINIMUM_KPA,
        "wash_water_m3_t": s["wash"] / s["solids"], "polymer_water_m3_t": s["solution"] / s["solids"],
        "energy_all_kwh_t": s["energy_all"] / s["solids"], "wash_water_all_m3_t": s["wash_all"] / s["solids"],
        "polymer_water_all_m3_t": s["solution_all"] / s["solids"],
    }  # fmt: skip


def _variability_pct(ax: Axis, t: Truth) -> list[float | None]:
    """Return the robust SD of ln dose over the quarter hours of each day with 8 processing minutes or more; None under 8 of them."""
    p = t.processing
    quarter = (ax.utc.to_physical().to_numpy() // 900_000_000)[p]
    day, solids, active = ax.day[p], (t.roles["sludge_flow"] * t.sludge.ts_pct / 100.0)[p], t.polymer_active_kg_h[p]
    first = quarter - quarter.min() if len(quarter) else quarter
    out: list[float | None] = []
    for i in range(len(ax.days)):
        mine = day == i
        n, kg, tonnes = (np.bincount(first[mine], weights=w) for w in (np.ones(mine.sum()), active[mine], solids[mine]))
        kept = n >= 8
        log_dose = np.log(kg[kept] / tonnes[kept])
        spread = 100.0 * _MAD_TO_SD * float(np.median(np.abs(log_dose - np.median(log_dose)))) if kept.sum() >= 8 else None
        out.append(spread)
    return out


def _lowest_suction(ax: Axis, t: Truth) -> Array:
    lowest = np.full(len(ax.days), np.inf)
    np.minimum.at(lowest, ax.day[t.processing], t.roles["pump_suction_pressure"][t.processing])
    return lowest
