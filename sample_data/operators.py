"""What people do: when they run the lines, which arrangement is in service, and how they set the polymer dose."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

import numpy as np
from numpy.typing import NDArray

from sample_data.axis import Axis
from sample_data.physics import GPM_M3_H, Array
from sample_data.scenario import (
    CHANGE_DAY,
    FIRST_PAIR_DAY,
    FIRST_TRIAL_WEEK,
    PAIR_LIST,
    PAIR_STEP,
    RUNGS,
    TARGET_U,
    TRIAL_WEEKS,
    LineScenario,
    PlantScenario,
)

Bools = NDArray[np.bool_]
TRIM_PER_DAY = 0.45  # share of the perceived gap in ln dose that operators close in a day
PERCEPTION_SD = 0.06  # of ln u, each time they look
SETTING_SD = 0.03  # of ln dose, each time they set
SATURDAY_SHARE = 0.2  # share of Saturdays the first plant works


@dataclass(frozen=True)
class Schedule:
    """When a line's feed pump and dewatering unit are on, minute by minute."""

    pump_on: Bools
    device_on: Bools


def schedule(plant: PlantScenario, ax: Axis, line_no: int, rng: np.random.Generator, quiet: bool) -> Schedule:
    """Return the run times of a line; the plant stands still when the data begin, so that every start is seen."""
    per_day = rng.integers(-10, 11, (3, len(ax.days))) * (not quiet)
    begin, end, pause = per_day[:, np.maximum(ax.day, 0)]
    if plant.plant == "alder-fork":
        saturday = (rng.random(len(ax.days)) < SATURDAY_SHARE) & (not quiet)
        works = (ax.day >= 0) & ((ax.weekday <= 5) | ((ax.weekday == 6) & saturday[np.maximum(ax.day, 0)]))
        feed = works & (ax.clock >= 430 + 5 * line_no + begin) & (ax.clock < 885 + end)
        return Schedule(feed, works & (ax.clock >= 420 + begin) & (ax.clock < 905 + end))
    if plant.plant == "sorrel-draw":
        works = (ax.day >= 0) & (ax.weekday <= 5)
        into = (ax.clock - 360) % 1440  # minutes into the operating day
        device = works & ~((ax.weekday == 1) & (into < 15)) & ~((ax.weekday == 5) & (into >= 1425))
        feed = works & ~((ax.weekday == 1) & (into < 30)) & ~((ax.weekday == 5) & (into >= 1410))
        flushed = np.ones(len(ax.days), dtype=bool) if quiet else rng.random(len(ax.days)) < 0.6
        rest = flushed[np.maximum(ax.day, 0)] & (into >= 420 + 20 * pause) & (into < 460 + 20 * pause + begin)
        return Schedule(feed & ~rest, device)
    stopped = (ax.weekday == 3) & (ax.clock >= 600 + begin) & (ax.clock < 660 + begin + end)
    on = ~stopped & ~((ax.day == 0) & (ax.clock < 300))
    return Schedule(on, on)


def arms(line: LineScenario, ax: Axis, rng: np.random.Generator) -> tuple[Array, Array]:
    """Return per operating day (1 where the new arrangement is in service, rung of the dose ladder or 0 outside a trial)."""
    arm, rung = np.zeros(len(ax.days)), np.zeros(len(ax.days))
    if line.change == "step":
        arm[[day >= CHANGE_DAY for day in ax.days]] = 1.0
    elif line.change == "weeks":
        for week in range(len(ax.days) // 7):
            first = 7 * week
            trial = FIRST_TRIAL_WEEK <= week < FIRST_TRIAL_WEEK + TRIAL_WEEKS
            arm[first : first + 7] = (week - FIRST_TRIAL_WEEK) % 2 if trial else float(week >= FIRST_TRIAL_WEEK + TRIAL_WEEKS)
            if trial:  # five working days: the four rungs and the nominal dose, in random order
                rung[first : first + 5] = rng.permutation((*RUNGS, 1.0))
    elif line.change == "pairs":
        for pair, (step, is_new_first) in enumerate(PAIR_LIST):
            first = FIRST_PAIR_DAY + PAIR_STEP * pair
            if first + 1 < len(ax.days):
                arm[first + (0 if is_new_first else 1)] = 1.0
                rung[first : first + 2] = step
    return arm, rung


def nominal_dose_kg_t(plant: PlantScenario, line: LineScenario) -> float:
    """Return the dose that gives the target in the old arrangement at the flow set-point [kg active per t]."""
    valve_psi = (line.flow_m3_h / GPM_M3_H / line.cv_old) ** 2
    return plant.demand_kg_t * TARGET_U * exp(plant.kappa_per_psi * valve_psi)


def polymer_set_kg_h(
    plant: PlantScenario, line: LineScenario, ax: Axis, *, flow: Array, solids_t_h: Array, relative: Array, rung: Array,
    rng: np.random.Generator, quiet: bool,
) -> Array:  # fmt: skip
    """Return the active polymer the pump is set for [kg/h], before anything goes wrong with it.

    Operators think in kg per ton of sludge at its usual solids; paced plants follow the flow. `relative` is the relative
    dose that one kg/t of true dose would give. Once per settings period they look at the result and close part of the gap;
    on trial days (`rung` > 0) the ladder holds and the solids of the day are known.
    """
    basis_t_h = (flow if plant.paced else np.full(ax.n, line.flow_m3_h)) * plant.ts_pct / 100.0
    fed = (flow > plant.feed_cutoff_m3_h) & (solids_t_h > 0)
    seen = np.zeros(ax.n)
    np.log(basis_t_h / np.where(fed, solids_t_h, 1.0) * relative, out=seen, where=fed)
    dose = _trimmed(plant, line, ax, fed, seen, rng, quiet)[ax.setting]
    trial = _ladder(plant, line, ax, fed, solids_t_h, basis_t_h, rung, rng, quiet)[np.maximum(ax.day, 0)]
    wanted = np.where(trial > 0, trial, dose) * basis_t_h
    return np.where(flow > 0, np.minimum(wanted, plant.solution_max_m3_h * 10.0 * plant.strength_pct), 0.0)


def _trimmed(plant: PlantScenario, line: LineScenario, ax: Axis, fed: Bools, seen: Array, rng: np.random.Generator, quiet: bool) -> Array:
    """Return the dose set in each settings period [kg/t of usual solids]."""
    periods = int(ax.setting[-1]) + 1
    counts = np.bincount(ax.setting[fed], minlength=periods)
    sums = np.bincount(ax.setting[fed], weights=seen[fed], minlength=periods)
    noise = rng.standard_normal((2, periods)) * (not quiet)
    hours = 24 if quiet else plant.shift_h
    share, dose = 1.0 - (1.0 - TRIM_PER_DAY) ** (hours / 24.0), log(nominal_dose_kg_t(plant, line))
    out = np.zeros(periods)
    for k in range(periods):
        out[k] = exp(dose)
        if counts[k]:
            gap = log(TARGET_U) - (dose + sums[k] / counts[k] + PERCEPTION_SD * noise[0, k])
            dose += share * gap + SETTING_SD * (hours / 24.0) ** 0.5 * noise[1, k]
    return out


def _ladder(
    plant: PlantScenario, line: LineScenario, ax: Axis, fed: Bools, solids: Array, basis: Array, rung: Array,
    rng: np.random.Generator, quiet: bool,
) -> Array:  # fmt: skip
    """Return the dose of each trial day [kg/t of usual solids] that makes rung x nominal of the true solids; 0 on other days."""
    size, day = len(ax.days), ax.day[fed]
    true, usual = (np.bincount(day, weights=x[fed], minlength=size) for x in (solids, basis))
    slips = np.exp(rng.standard_normal(size) * (0.0 if quiet else SETTING_SD))
    return rung * nominal_dose_kg_t(plant, line) * np.divide(true, usual, out=np.zeros(size), where=usual > 0) * slips
