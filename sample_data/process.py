"""Simulate a line minute by minute: what truly happened, before any instrument looked. SI units."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sample_data import operators
from sample_data import physics as ph
from sample_data.axis import Axis
from sample_data.operators import Bools, Schedule
from sample_data.physics import GPM_M3_H, PSI_KPA, Array
from sample_data.scenario import LineScenario, PlantScenario

LOT_DAYS = 21  # a polymer delivery lasts so long
STALE_AFTER_H, STALE_PER_H, TANK_TURNOVER_MIN = 24.0, 0.02, 60.0  # solution older than a day loses effect; renewed while running
PUMP_EFFICIENCY, DRIVE_EFFICIENCY = 0.55, 0.92  # rotodynamic pump; motor and drive
DISPLACEMENT_EFFICIENCY = 0.50  # wire to water
STANDING_KPA = 4.0 * PSI_KPA  # pressure of the sludge tank at every gauge while the pump stands


@dataclass
class Disturbance:
    """What goes wrong in the process, minute by minute; factors are 1 and additions 0 where nothing does."""

    flow: Array
    polymer: Array  # factor on the polymer pumped
    strength: Array  # factor on the strength of the solution
    ts: Array
    wash: Array
    valve_kpa: Array  # added mixing pressure drop at the flow set-point
    suction_kpa: Array
    discharge_kpa: Array
    torque_pct: Array
    pump_off: Bools
    polymer_on_m3_h: Array  # solution that runs although no sludge is fed

    @classmethod
    def none(cls, n: int) -> Disturbance:
        ones, zeros = (lambda: np.ones(n)), (lambda: np.zeros(n))
        return cls(ones(), ones(), ones(), ones(), ones(), zeros(), zeros(), zeros(), zeros(), np.zeros(n, dtype=bool), zeros())


@dataclass(frozen=True)
class Sludge:
    """What the digesters send to all lines of a plant."""

    ts_pct: Array
    vs_pct: Array
    temperature_c: Array
    demand_kg_t: Array


@dataclass
class Truth:
    """True minute signals of a line; `roles` by the name of what an instrument would measure."""

    line: str
    roles: dict[str, Array]
    sludge: Sludge
    strength_pct: Array
    polymer_active_kg_h: Array
    effectiveness: Array
    relative_dose: Array
    cake_ts_pct: Array
    capture: Array
    filtrate_tss_mg_l: Array
    processing: Bools
    arm: Array  # per operating day
    rung: Array  # per operating day
    notes: dict[str, float] = field(default_factory=dict)


def sludge(plant: PlantScenario, ax: Axis, rng: np.random.Generator, quiet: bool) -> Sludge:
    """Return the feed: solids by walk and tank switches (constant over each operating day when quiet), season, demand."""
    season = 2.0 * np.pi * (ax.day - 60) / 365.0
    vs = plant.vs_pct + 3.0 * np.sin(season) + ph.wander(rng, ax.n, 1.5, 120 * 60, quiet)
    temperature = 20.0 + 6.0 * np.sin(season) + ph.wander(rng, ax.n, 0.5, 48 * 60, quiet)
    log_demand = 0.02 * (vs - 64.0) - 0.006 * (temperature - 20.0) + ph.wander(rng, ax.n, 0.09, 96 * 60, quiet)
    by_day = 0.06 * np.sin(1.7 * ax.day + 0.4)
    log_ts = by_day if quiet else ph.wander(rng, ax.n, 0.09, 36 * 60, quiet=False) + _tank_switches(ax, rng)
    return Sludge(plant.ts_pct * np.exp(log_ts), vs, temperature, plant.demand_kg_t * np.exp(log_demand))


def _tank_switches(ax: Axis, rng: np.random.Generator) -> Array:
    """Return steps of ln TS, sd 0.06, every 5 to 9 days."""
    lengths = rng.integers(5, 10, len(ax.days))
    levels = np.repeat(rng.standard_normal(len(ax.days)) * 0.06, lengths)
    return levels[np.maximum(ax.day, 0)]


def simulate(
    plant: PlantScenario, line: LineScenario, ax: Axis, runs: Schedule, feed: Sludge, wrong: Disturbance, rng: np.random.Generator,
    quiet: bool,
) -> Truth:  # fmt: skip
    """Return the truth of one line."""
    feed = Sludge(feed.ts_pct * wrong.ts, feed.vs_pct, feed.temperature_c, feed.demand_kg_t)
    arm, rung = operators.arms(line, ax, rng)
    new = arm[np.maximum(ax.day, 0)] > 0
    pump_on = runs.pump_on & ~wrong.pump_off
    usual_flow = np.where(pump_on, _flow(plant, line, ax, pump_on, rng, quiet), 0.0)
    flow = usual_flow * wrong.flow
    cv = np.where(new, line.cv_new, line.cv_old / _hand_on_valve(ax, rng, quiet))
    mixing = ph.valve_kpa(flow, cv) + wrong.valve_kpa * (flow / line.flow_m3_h) ** 2
    effect = _effectiveness(plant, line, ax, mixing, new, pump_on, rng, quiet)
    solids = flow * feed.ts_pct / 100.0  # t/h, SG 1
    strength = plant.strength_pct * np.exp(ph.wander(rng, ax.n, 0.03, 12 * 60, quiet)) * wrong.strength
    relative = effect * strength / plant.strength_pct / feed.demand_kg_t
    wanted = operators.polymer_set_kg_h(
        plant, line, ax, flow=usual_flow, solids_t_h=solids, relative=relative, rung=rung, rng=rng, quiet=quiet
    )
    solution = wanted / (10.0 * plant.strength_pct) * wrong.polymer + wrong.polymer_on_m3_h
    active = solution * 10.0 * strength
    neat = active / (plant.density_kg_m3 * plant.active)
    fed = flow > 0
    dose = np.divide(active, solids, out=np.zeros(ax.n), where=fed)
    u, load = dose * effect / feed.demand_kg_t, solids / (line.flow_m3_h * plant.ts_pct / 100.0)
    cake = ph.cake_pct(u, feed.vs_pct, load, line.cake_gain * new) + ph.wander(rng, ax.n, 0.2, 12 * 60, quiet)
    capture = 1.0 - np.clip(ph.loss_share(u, load) * np.exp(ph.wander(rng, ax.n, 0.10, 12 * 60, quiet)), 0.0, 0.9)
    wash = np.where(runs.device_on, line.wash_m3_h, 0.0) * wrong.wash
    water = np.divide(solution + (wash if plant.wash_dilutes else 0.0), flow, out=np.zeros(ax.n), where=fed)
    roles = _hydraulics(plant, ax, pump_on, usual_flow, flow, mixing, new, feed, wrong, rng, quiet) | {
        "sludge_flow": flow, "polymer_neat_flow": neat, "polymer_solution_flow": solution, "wash_water_flow": wash,
        "device_power": np.where(runs.device_on, plant.device_kw * (1.0 + 0.05 * load), 0.0),
        "device_torque": np.where(runs.device_on, np.where(fed, 38.0 + 12.0 * load, 12.0), 0.0) + wrong.torque_pct,
        "pump_run": pump_on.astype(float), "device_run": runs.device_on.astype(float), "sludge_total": _total_m3(flow),
    }  # fmt: skip
    processing = processing_minutes(plant, pump_on, runs.device_on, flow, neat, solution)
    filtrate = np.where(fed, ph.filtrate_pct(capture, feed.ts_pct, cake, water) * 1e4, 0.0)
    return Truth(line.line, roles, feed, strength, active, effect, u, cake, capture, filtrate, processing, arm, rung)


def _flow(plant: PlantScenario, line: LineScenario, ax: Axis, on: Bools, rng: np.random.Generator, quiet: bool) -> Array:
    """Return the feed flow the set-point gives: a little different each day, slower at night at the third plant."""
    flow = line.flow_m3_h * (1.0 + 0.02 * np.sin(1.3 * ax.day))
    if plant.plant == "brenholm":
        flow = np.where((ax.clock >= 22 * 60) | (ax.clock < 6 * 60), 0.7 * flow, flow)
    if quiet:  # a slow swing in steps, so that a mean over time is not trivial
        step = np.arange(ax.n) // plant.step_min * plant.step_min
        return flow * (1.0 + 0.03 * np.sin(2.0 * np.pi * step / 190.0))
    ramp = np.where(on & ~np.concatenate(([False], on[:-1])), 0.5, 1.0)  # the first minute of a run
    return flow * (1.0 + ph.wander(rng, ax.n, 0.01, 180, quiet)) * ramp


def _hand_on_valve(ax: Axis, rng: np.random.Generator, quiet: bool) -> Array:
    """Return the factor by which a hand on the valve has narrowed it: up to 15 % of its pressure drop, about every 16 days."""
    size = len(ax.days)
    moved, to = rng.random(size) < 0.06, np.exp(rng.uniform(-0.07, 0.07, size))
    moved[0], to[0] = True, 1.0
    held = to[np.maximum.accumulate(np.where(moved, np.arange(size), 0))]
    return np.ones(ax.n) if quiet else held[np.maximum(ax.day, 0)]


def _effectiveness(
    plant: PlantScenario, line: LineScenario, ax: Axis, mixing_kpa: Array, new: Bools, on: Bools, rng: np.random.Generator, quiet: bool
) -> Array:
    """Return how much of the dose works: shear of the mixing point, arrangement, lot, stale solution."""
    lots = rng.standard_normal(len(ax.days) // LOT_DAYS + 1) * (0.0 if quiet else 0.03)
    lot = lots[np.maximum(ax.day, 0) // LOT_DAYS]
    minutes = np.arange(ax.n)
    run_start = np.maximum.accumulate(np.where(on & ~np.concatenate(([False], on[:-1])), minutes, 0))
    last_on = np.maximum.accumulate(np.where(on, minutes, 0))
    stood_h = (run_start - np.concatenate(([0], last_on[:-1]))[run_start]) / 60.0
    age_h = stood_h * np.exp(-(minutes - run_start) / TANK_TURNOVER_MIN)
    stale = -STALE_PER_H * np.maximum(0.0, age_h - STALE_AFTER_H)
    return np.exp(-plant.kappa_per_psi * mixing_kpa / PSI_KPA + lot + stale) * np.where(new, line.effect_ratio_new, 1.0)


def _total_m3(flow: Array) -> Array:
    """Return the volume pumped before each minute."""
    return np.concatenate(([0.0], np.cumsum(flow)[:-1])) / 60.0


def processing_minutes(plant: PlantScenario, pump_on: Bools, device_on: Bools, flow: Array, neat: Array, solution: Array) -> Bools:
    """Return the minutes in processing: pump and device on, sludge and polymer above cut-off, start-up over.

    Start-up is the first `startup_min` minutes of feeding, counted from the first fed minute after one that is not.
    """
    feeding = pump_on & (flow > plant.feed_cutoff_m3_h)
    minutes = np.arange(len(feeding))
    fed_for = minutes - np.maximum.accumulate(np.where(feeding, -1, minutes))  # 1 in the first fed minute
    meter = neat if plant.polymer_meter == "neat" else solution
    return feeding & device_on & (fed_for > plant.startup_min) & (meter > plant.polymer_cutoff_m3_h)


def _hydraulics(
    plant: PlantScenario, ax: Axis, on: Bools, usual_flow: Array, flow: Array, mixing: Array, new: Bools, feed: Sludge,
    wrong: Disturbance, rng: np.random.Generator, quiet: bool,
) -> dict[str, Array]:  # fmt: skip
    """Return pump speed and power, and the four pressures. The speed is that of the usual flow; what goes wrong changes the rest."""
    share = flow / plant.reference_flow_m3_h
    level = ph.wander(rng, ax.n, 0.4 * PSI_KPA, 8 * 60, quiet)
    suction = STANDING_KPA + level - np.where(on, 1.5 * PSI_KPA * share**2, 0.0) + wrong.suction_kpa
    if plant.pump == "rotodynamic":
        rise, speed, kw = _rotodynamic(plant, ax, usual_flow, flow, mixing, new)
        before_mixing = 1.5 * PSI_KPA * share**2
    else:
        rise, speed, kw = _displacement(plant, ax, on, usual_flow, flow, mixing, new, feed)
        before_mixing = 1.0 * PSI_KPA * share**2
    discharge = np.where(on, suction + rise + wrong.discharge_kpa, STANDING_KPA + level)
    upstream = np.where(on, discharge - before_mixing, discharge)
    working = on * (0.4 + 0.6 * wrong.flow)
    return {
        "pump_speed": np.where(on, speed, 0.0), "pump_power": kw * working, "pump_suction_pressure": suction,
        "pump_discharge_pressure": discharge, "mixing_upstream_pressure": upstream, "mixing_downstream_pressure": upstream - mixing,
    }  # fmt: skip


def _rotodynamic(plant: PlantScenario, ax: Axis, usual: Array, flow: Array, mixing_kpa: Array, new: Bools) -> tuple[Array, Array, Array]:
    """Return pressure rise [kPa], speed [rpm], power at the usual flow [kW]."""
    q, q_usual = flow / GPM_M3_H, usual / GPM_M3_H
    valve_usual = np.divide(mixing_kpa, flow**2, out=np.zeros(ax.n), where=flow > 0) * usual**2 / PSI_KPA
    head_usual = ph.system_head_ft(q_usual, valve_usual)
    speed = ph.rotodynamic_speed_ratio(q_usual, head_usual, wear_share(plant, ax, new)) * ph.REFERENCE_RPM
    velocity = ph.velocity_head_ft(q, 6.0) - ph.velocity_head_ft(q, 8.0)
    rise_psi = (ph.system_head_ft(q, mixing_kpa / PSI_KPA) - velocity) / ph.FT_PER_PSI
    return rise_psi * PSI_KPA, speed, ph.shaft_kw(q_usual, head_usual, PUMP_EFFICIENCY) / DRIVE_EFFICIENCY


def wear_share(plant: PlantScenario, ax: Axis, new: Bools) -> Array:
    """Return the share of its shut-off head that the rotodynamic pump in service has lost since it was new."""
    years = np.maximum(ax.day, 0) / 365.25
    since_change = np.maximum(0.0, years - np.min(years[new], initial=np.inf)) if new.any() else 0.0
    return np.where(new, plant.new_wear_per_year * since_change, plant.old_wear * years)


def slip_growth(plant: PlantScenario, ax: Axis, on: Bools, new: Bools) -> Array:
    """Return the slip of the displacement pump in service as a multiple of its slip as new."""
    old_hours = np.cumsum(on & ~new) / 60.0
    years = np.maximum(ax.day, 0) / 365.25
    return 1.0 + np.where(new, plant.new_wear_per_year * years, plant.old_wear * old_hours / 1000.0)


def thin_factor(plant: PlantScenario, feed: Sludge) -> Array:
    """Return how much more the sludge of a minute slips than sludge of the usual solids: (mu0/mu)^0.5 with mu ~ TS^1.5."""
    result: Array = (plant.ts_pct / feed.ts_pct) ** 0.75
    return result


def _displacement(
    plant: PlantScenario, ax: Axis, on: Bools, usual: Array, flow: Array, mixing_kpa: Array, new: Bools, feed: Sludge
) -> tuple[Array, Array, Array]:
    """Return pressure rise [kPa], speed [rpm], power at the usual flow [kW]; slip grows with run hours, thick sludge slips less."""
    share = flow / plant.reference_flow_m3_h
    rise = 8.0 * PSI_KPA + 6.0 * PSI_KPA * share**2 + mixing_kpa
    growth, thin = slip_growth(plant, ax, on, new), thin_factor(plant, feed)
    speed = (usual + plant.slip_m3_h_kpa * growth * rise * thin) / plant.rev_m3_h
    return rise, speed, usual / 3600.0 * rise / DISPLACEMENT_EFFICIENCY
