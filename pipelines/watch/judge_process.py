"""One line on one operating day: the rules of process and equipment, which signals they look at, and what a flag then says."""

from __future__ import annotations

from functools import partial

import numpy as np

from pipelines.plant.model import PlantFile, Polymer
from pipelines.plant.watch_settings import Watch
from pipelines.watch import judge_levels
from pipelines.watch import process_rules as rules
from pipelines.watch.episodes import Episode, Mask
from pipelines.watch.line_day import RUNNING, LineDay, Usual
from pipelines.watch.rules import Series
from pipelines.watch.words import Flag, flags_from, lasted, number, shown
from schemas.detectors import THIS_WEEK, TODAY

USUAL_LEAST = 600  # minutes that make a usual value (common practice, no source)


def flags_of(day: LineDay, usual: Usual, plant_file: PlantFile, turns: Mask, under_test: Mask) -> list[Flag]:
    """Return the flags of process and equipment of a line and day; `under_test`: minutes of declared tests, in which no dose is judged."""
    return [
        *_left_on(day, plant_file),
        *_cycling(day, plant_file.watch),
        *_wash(day, usual, plant_file),
        *_suction(day, usual, plant_file),
        *_deadhead(day, usual, plant_file, turns),
        *_torque(day, usual, plant_file.watch),
        *judge_levels.flags_of(day, usual, plant_file, turns),
        *_strength(day, plant_file, under_test),
        *_spikes(day, plant_file.watch),
    ]


def _polymer_role(day: LineDay) -> str:
    return "polymer_neat_flow" if day.line.polymer_meter == "neat" else "polymer_solution_flow"


def _left_on(day: LineDay, plant_file: PlantFile) -> list[Flag]:
    role = _polymer_role(day)
    if role not in day.has:
        return []
    run = day.series["pump_run"]
    pump_on = run.known & (run.values > 0)
    found = rules.polymer_left_on(
        day.series["sludge_flow"], day.line.feed_cutoff, day.series[role], day.line.polymer_cutoff, pump_on, plant_file.watch
    )
    system = plant_file.plant.units

    def says(e: Episode) -> str:
        return f"Polymer flowed for {lasted(e.held)} without sludge, {shown(number(e.facts, 'polymer_m3'), 'volume', system)} in all."

    return flags_from(day, "polymer left on", role, THIS_WEEK, found, says)


def _cycling(day: LineDay, settings: Watch) -> list[Flag]:
    run = day.series["pump_run"]
    found = rules.short_cycling(run.known & (run.values >= 0.5), run.known, settings)
    return flags_from(
        day, "short cycling", None, THIS_WEEK, found,
        lambda e: f"The feed pump started {number(e.facts, 'starts'):.0f} times within {lasted(e.end - e.start)}.",
    )  # fmt: skip


def _wash(day: LineDay, usual: Usual, plant_file: PlantFile) -> list[Flag]:
    middle = rules.median_of(usual.wash, USUAL_LEAST)
    if "wash_water_flow" not in day.has or middle is None or middle <= 0:
        return []
    found = rules.wash_water_low(day.series["wash_water_flow"], day.is_state("processing"), middle, plant_file.watch)
    system = plant_file.plant.units

    def says(e: Episode) -> str:
        seen, known = (shown(number(e.facts, key), "flow", system) for key in ("wash_water_m3_h", "usual_m3_h"))
        return f"The wash water was {seen} for {lasted(e.held)} of processing; usual is {known}."

    return flags_from(day, "wash water low", "wash_water_flow", THIS_WEEK, found, says)


def _suction(day: LineDay, usual: Usual, plant_file: PlantFile) -> list[Flag]:
    if "pump_suction_pressure" not in day.has:
        return []
    line = rules.suction_line(usual.suction_flow, usual.suction) if len(usual.suction) >= USUAL_LEAST else None
    flow, suction = day.series["sludge_flow"], day.series["pump_suction_pressure"]
    found = rules.blocked_suction(flow, suction, day.is_state("processing"), line, plant_file.watch)
    system = plant_file.plant.units

    def says(e: Episode) -> str:
        before, now = (shown(number(e.facts, key), "flow", system) for key in ("flow_before_m3_h", "sludge_flow_m3_h"))
        return f"The suction pressure fell below {'its curve' if line else 'that of the hour before'} for {lasted(e.held)}, and the flow from {before} to {now}."

    return flags_from(day, "blocked suction", None, TODAY, found, says)


def _deadhead(day: LineDay, usual: Usual, plant_file: PlantFile, turns: Mask) -> list[Flag]:
    middle = rules.median_of(usual.discharge, USUAL_LEAST)
    settings, most = plant_file.watch, day.line.pump.discharge_maximum
    limits = [x for x in (most, None if middle is None else middle + settings.deadhead_rise) if x is not None]
    if not limits:
        return []
    found = rules.deadhead(
        turns, day.series["sludge_flow"], day.line.feed_cutoff, day.series["pump_discharge_pressure"], min(limits), settings
    )
    system = plant_file.plant.units

    def says(e: Episode) -> str:
        seen, limit = (shown(number(e.facts, key), "pressure", system) for key in ("discharge_pressure_kpa", "limit_kpa"))
        return (
            f"The feed pump turned without flow for {lasted(e.held)} at a discharge pressure of {seen}; the limit without flow is {limit}."
        )

    return flags_from(day, "deadhead", None, TODAY, found, says)


def _torque(day: LineDay, usual: Usual, settings: Watch) -> list[Flag]:
    if "device_torque" not in day.has:
        return []
    found = rules.torque_high(day.series["device_torque"], day.is_state(*RUNNING), rules.median_of(usual.torque, USUAL_LEAST), settings)
    return flags_from(day, "torque high", "device_torque", TODAY, found, _says_torque)


def _says_torque(e: Episode) -> str:
    return f"The torque was {number(e.facts, 'torque_pct'):.0f} % for {lasted(e.held)}; the limit is {number(e.facts, 'limit_pct'):.0f} %."


def _strength(day: LineDay, plant_file: PlantFile, under_test: Mask) -> list[Flag]:
    """Strength from the analyser, else by mass balance where neat polymer and solution are metered."""
    product = next(reversed(_products(day, plant_file)), None)
    if product is None or product.solution_strength_pct is None:
        return []
    if "polymer_solution_strength" in day.has:
        strength = day.series["polymer_solution_strength"]
    elif {"polymer_neat_flow", "polymer_solution_flow"} <= day.has and product.density is not None:
        neat, solution = day.series["polymer_neat_flow"], day.series["polymer_solution_flow"]
        flows = neat.known & solution.known & (solution.values > day.line.polymer_cutoff)
        active = neat.values * product.density * product.active_fraction
        strength = Series(np.divide(active, 10.0 * solution.values, out=np.zeros(day.minutes), where=flows), flows)
    else:
        return []
    found = rules.strength_off(strength, day.is_state("processing") & ~under_test, product.solution_strength_pct, plant_file.watch)
    return flags_from(day, "weak solution", None, THIS_WEEK, found, _says_strength)


def _products(day: LineDay, plant_file: PlantFile) -> list[Polymer]:
    since = plant_file.calendar.since
    mine = [p for p in plant_file.polymers if day.line.id in p.lines and since(p.since) <= day.start]
    return sorted(mine, key=lambda p: since(p.since))


def _says_strength(e: Episode) -> str:
    seen, wanted = number(e.facts, "strength_pct"), number(e.facts, "set_pct")
    return f"The polymer solution held {seen:.2f} % active for {lasted(e.held)}; {wanted:.2f} % is set."


def _spikes(day: LineDay, settings: Watch) -> list[Flag]:
    out: list[Flag] = []
    for role in ("sludge_flow", _polymer_role(day)):
        if role in day.has:
            found = rules.spike_episode(rules.spikes(day.series[role], day.is_state("processing"), settings), settings)
            out += flags_from(day, "spikes", role, THIS_WEEK, found, partial(_says_spikes, name=role.replace("_", " ")))
    return out


def _says_spikes(e: Episode, name: str) -> str:
    return f"The {name} jumped and came back {number(e.facts, 'spikes'):.0f} times while the line was processing."
