"""Simulate a plant minute by minute: what truly happened, before any instrument looked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sample_data import physics as ph
from sample_data.scenario import CHANGE_DAY, LineScenario, PlantScenario

Array = NDArray[np.float64]
LADDER = (0.55, 0.75, 0.95, 1.20)  # of the nominal dose, in random order, on trial days


@dataclass
class Axis:
    """The minutes simulated: UTC, local clock, operating days."""

    utc: pl.Series
    local: pl.Series
    day_index: NDArray[np.int64]  # operating day counted from the first
    days: list[date]
    minute_of_day: NDArray[np.int64]
    weekday: NDArray[np.int64]  # 1 Monday, of the operating day

    @property
    def n(self) -> int:
        return len(self.utc)


def axis(plant: PlantScenario, start: date, weeks: int) -> Axis:
    """Return the minutes from the first operating day's start on."""
    zone = ZoneInfo(plant.zone)
    hour = timedelta(hours=plant.day_start_h)
    begin = (datetime.combine(start, datetime.min.time()) + hour).replace(tzinfo=zone).astimezone(UTC)
    end = (datetime.combine(start + timedelta(weeks=weeks), datetime.min.time()) + hour).replace(tzinfo=zone).astimezone(UTC)
    utc = pl.datetime_range(begin, end, "1m", closed="left", time_unit="us", time_zone="UTC", eager=True)
    local = utc.dt.convert_time_zone(plant.zone).dt.replace_time_zone(None)
    shifted = local - hour
    dates = shifted.dt.date()
    index = (dates.cast(pl.Int32) - dates.cast(pl.Int32)[0]).to_numpy().astype(np.int64)
    days = [start + timedelta(days=i) for i in range(weeks * 7)]
    clock = (local.dt.hour().cast(pl.Int64) * 60 + local.dt.minute().cast(pl.Int64)).to_numpy()
    return Axis(utc, local, index, days, clock, shifted.dt.weekday().to_numpy().astype(np.int64))


@dataclass
class Truth:
    """True minute signals of one line, in the plant's own units; pressures gauge."""

    line: str
    pump_on: NDArray[np.bool_]
    device_on: NDArray[np.bool_]
    flow: Array
    neat: Array  # gph or L/h
    solution: Array  # gpm, or m3/h
    wash: Array
    ts: Array
    speed: Array
    pump_kw: Array
    device_kw: Array
    torque: Array
    p_suction: Array
    p_discharge: Array
    p1: Array
    p2: Array
    cake: Array
    capture: Array
    filtrate: Array
    vs: Array
    processing: NDArray[np.bool_]
    arm: Array


def simulate(plant: PlantScenario, line: LineScenario, ax: Axis, rng: np.random.Generator, quiet: bool) -> Truth:
    """Return the truth of one line."""
    n, day = ax.n, ax.day_index
    pump_on, device_on = _schedule(plant, ax, rng, quiet)
    ts = _feed_solids(line, ax, rng, quiet)
    season = 2 * np.pi * (day - 60) / 365.0
    vs = line.vs_pct + 3 * np.sin(season) + ph.wander(rng, n, 1.5, 120 * 60, quiet)
    temperature = 20 + 6 * np.sin(season) + ph.wander(rng, n, 0.5, 48 * 60, quiet)
    demand = line.demand * np.exp(0.02 * (vs - 64) - 0.006 * (temperature - 20) + ph.wander(rng, n, 0.09, 96 * 60, quiet))
    flow = np.where(pump_on, _set_flow(plant, line, ax) * (1 + ph.wander(rng, n, 0.01, 180, quiet)), 0.0)
    arm = _arm(line, ax, rng, quiet)
    dp = _mixing(line, flow, arm, ax, rng, quiet)
    eta = np.exp(-line.kappa * dp) * np.where(arm > 0, line.ratio_new, 1.0)
    nominal = _solids(plant, np.full(n, line.flow_set), np.full(n, line.feed_ts_pct))
    solids = _solids(plant, flow, ts)
    active = _operators(plant, line, ax, pump_on, solids, demand, eta, arm, rng, quiet)
    lot = np.exp(rng.standard_normal(1 + n // (60 * 24 * 21)) * (0.0 if quiet else 0.03))[np.arange(n) // (60 * 24 * 21)]
    strength = plant.strength_pct * np.exp(ph.wander(rng, n, 0.03, 12 * 60, quiet) * (plant.polymer_meter == "neat"))
    neat, solution = _polymer_flows(plant, active, strength)
    processing = _processing(plant, pump_on, device_on, flow, neat, solution)
    with np.errstate(divide="ignore", invalid="ignore"):
        dose = np.where(solids > 0, active / solids * (2000.0 if plant.us else 1000.0), 0.0)
    u = dose * eta * lot / demand
    load = np.where(nominal > 0, solids / nominal, 0.0)
    cake = ph.cake_pct(u, vs, load, line.cake_gain * arm) + ph.wander(rng, n, 0.2, 12 * 60, quiet)
    capture = 1.0 - np.clip(ph.loss_share(u, load) * np.exp(ph.wander(rng, n, 0.10, 12 * 60, quiet)), 0.0, 0.6)
    wash = np.where(device_on, line.wash, 0.0)
    water = solution + (wash if plant.dilution == "polymer and wash" else 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        w = np.where(flow > 0, water / flow, 0.0)
    filtrate = ph.filtrate_pct(capture, ts, cake, w)
    pump = _pump(plant, line, flow, dp, pump_on, arm, ax)
    device_kw = np.where(device_on, (9.0 if plant.us and plant.plant == "alder-fork" else 42.0 if plant.us else 1.6) + 0.5 * load, 0.0)
    torque = np.where(device_on, 45.0 + 10.0 * (load - 1.0), 0.0)
    return Truth(line.line, pump_on, device_on, flow, neat, solution, wash, ts, pump[0], pump[1], device_kw, torque, *pump[2:], cake, capture, filtrate, vs, processing, arm)


def _schedule(plant: PlantScenario, ax: Axis, rng: np.random.Generator, quiet: bool) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return (feed pump on, device on)."""
    clock, weekday, n_days = ax.minute_of_day, ax.weekday, len(ax.days)
    if plant.plant == "alder-fork":
        shift = np.zeros((2, n_days), dtype=np.int64) if quiet else rng.integers(-10, 11, (2, n_days))
        saturday = rng.random(n_days) < 0.2
        works = (weekday <= 5) | ((weekday == 6) & saturday[ax.day_index])
        begin, end = 425 + shift[0][ax.day_index], 895 + shift[1][ax.day_index]
        return works & (clock >= begin) & (clock < end), works & (clock >= begin - 10) & (clock < end + 15)
    if plant.plant == "kestrel-mesa":
        on = weekday <= 5
        pause = rng.integers(600, 1200, n_days)[ax.day_index]
        long = (rng.random(n_days) < 0.3)[ax.day_index]
        resting = long & (clock >= pause) & (clock < pause + 45)
        return on & ~resting, on
    cleaning = (weekday == 3) & (clock >= 600) & (clock < 660)
    return ~cleaning, ~cleaning


def _set_flow(plant: PlantScenario, line: LineScenario, ax: Axis) -> Array:
    daily = line.flow_set * (1 + 0.02 * np.sin(1.3 * ax.day_index))
    if plant.plant != "brenholm":
        return daily
    night = (ax.minute_of_day >= 22 * 60) | (ax.minute_of_day < 6 * 60)
    return np.where(night, 0.7 * daily, daily)


def _feed_solids(line: LineScenario, ax: Axis, rng: np.random.Generator, quiet: bool) -> Array:
    daily = line.feed_ts_pct * np.exp(0.06 * np.sin(1.7 * ax.day_index + 0.4))
    if quiet:
        return daily
    level, steps, left = 0.0, np.zeros(len(ax.days)), 0
    for i in range(len(ax.days)):
        if left == 0:
            level, left = rng.standard_normal() * 0.06, int(rng.integers(5, 10))
        steps[i], left = level, left - 1
    return line.feed_ts_pct * np.exp(ph.wander(rng, ax.n, 0.09, 36 * 60, quiet=False) + steps[ax.day_index])


def _arm(line: LineScenario, ax: Axis, rng: np.random.Generator, quiet: bool) -> Array:
    """Return 1 where polymer goes in at the new pump."""
    del quiet
    per_day = np.zeros(len(ax.days))
    for i, day in enumerate(ax.days):
        week = i // 7
        if line.change == "step":
            per_day[i] = day >= CHANGE_DAY
        elif line.change == "weeks":
            per_day[i] = week >= 14 or (2 <= week < 14 and week % 2 == 0)
    if line.change == "pairs":
        for pair in range(8):
            first = 42 + 3 * pair
            if first + 1 < len(ax.days):
                per_day[first + int(rng.random() < 0.5)] = 1.0
    return per_day[ax.day_index]


def _mixing(line: LineScenario, flow: Array, arm: Array, ax: Axis, rng: np.random.Generator, quiet: bool) -> Array:
    """Return the pressure drop across the mixing point; the old valve is moved by hand now and then."""
    moved = np.ones(len(ax.days))
    if not quiet:
        for i in range(1, len(moved)):
            moved[i] = np.exp(rng.uniform(-0.07, 0.07)) if rng.random() < 0.06 else moved[i - 1]
    cv = np.where(arm > 0, line.cv_new, line.cv_old * moved[ax.day_index])
    return (flow / cv) ** 2


def _solids(plant: PlantScenario, flow: Array, ts: Array) -> Array:
    """Return dry solids [lb/h or kg/h]: one volume of sludge weighs as water at 1000 kg/m3."""
    if plant.us:
        return flow * 60.0 * ph.GAL_M3 * 1000.0 / ph.LB_KG * ts / 100.0
    return flow * 1000.0 * ts / 100.0


def _operators(
    plant: PlantScenario, line: LineScenario, ax: Axis, on: NDArray[np.bool_], solids: Array, demand: Array, eta: Array, arm: Array, rng: np.random.Generator, quiet: bool
) -> Array:
    """Return active polymer fed [lb/h or kg/h]: a pump setting per operating day, trimmed slowly towards the target."""
    per = 2000.0 if plant.us else 1000.0
    setting = np.zeros(len(ax.days))
    log_d = np.log(line.demand * ph.TARGET_U / np.exp(-line.kappa * (line.flow_set / line.cv_old) ** 2))
    steps = np.ones(ax.n)
    for i in range(len(ax.days)):
        now = (ax.day_index == i) & on
        if not now.any():
            continue
        rate = float(np.mean(solids[now]))
        setting[i] = np.exp(log_d) * rate / per
        seen = np.exp(log_d) * float(np.mean(eta[now] / demand[now])) * np.exp(0.0 if quiet else rng.standard_normal() * 0.06)
        log_d += 0.45 * (np.log(ph.TARGET_U) - np.log(seen)) + (0.0 if quiet else rng.standard_normal() * 0.03)
        if line.change in ("weeks", "pairs") and not quiet and _is_ladder_day(line, i):
            where = np.flatnonzero(now)
            for part, k in zip(np.array_split(where, 4), rng.permutation(4), strict=True):
                steps[part] = LADDER[k]
    del arm
    return np.where(on, setting[ax.day_index] * steps, 0.0)


def _is_ladder_day(line: LineScenario, i: int) -> bool:
    if line.change == "weeks":
        return 14 <= i < 98 and i % 7 in (1, 3)
    return 42 <= i < 66 and (i - 42) % 3 < 2


def _polymer_flows(plant: PlantScenario, active: Array, strength: Array) -> tuple[Array, Array]:
    """Return (neat, solution) flows; the solution weighs as water."""
    if plant.us:
        neat = active / (plant.density * plant.active) if plant.density else np.zeros(len(active))
        pounds_per_gal = ph.GAL_M3 * 1000.0 / ph.LB_KG
        return neat, active / (strength / 100.0) / pounds_per_gal / 60.0
    return active / (plant.density * plant.active), active / (strength / 100.0) / 1000.0


def _processing(plant: PlantScenario, pump: NDArray[np.bool_], device: NDArray[np.bool_], flow: Array, neat: Array, solution: Array) -> NDArray[np.bool_]:
    """Return minutes in processing: fed, dosed, device on, start-up over."""
    feeding = pump & (flow > plant.feed_cutoff)
    since = np.arange(len(feeding)) - np.maximum.accumulate(np.where(~feeding, np.arange(len(feeding)), -1)) - 1
    meter = neat if plant.polymer_meter == "neat" else solution * (60.0 if plant.us else 1.0)
    return feeding & device & (since >= plant.startup_min) & (meter > plant.polymer_cutoff)


def _pump(plant: PlantScenario, line: LineScenario, flow: Array, dp: Array, on: NDArray[np.bool_], arm: Array, ax: Axis) -> tuple[Array, ...]:
    """Return speed [rpm], power [kW], suction, discharge, before and after mixing [psi or bar]."""
    hours = np.cumsum(on) / 60.0
    if plant.plant == "alder-fork":
        head = np.where(on, 15.0 + 1.44e-4 * flow**2 + 2.307 * dp, 0.0)
        wear = np.where(arm > 0, 0.001, 0.02) * ax.day_index / 365.0
        speed = np.where(on, ph.rotodynamic_speed(flow, head, 0.0) / np.sqrt(1.0 - wear) * 1180.0, 0.0)
        kw = np.where(on, flow * head / 3960.0 / 0.55 * 0.745699872, 0.0)
        suction = np.full(ax.n, 4.0)
        discharge = suction + head / 2.307
        p1 = np.where(on, discharge - 2.0, 4.0)
        return speed, kw, suction, discharge, p1, p1 - dp
    if plant.us:
        static, per_rev, k0, eff = 12.0, 1.6, 0.6, 0.5
        suction = np.full(ax.n, 3.0)
        discharge = np.where(on, suction + static + dp, 3.0)
        slip = k0 * (1 + np.where(arm > 0, 0.0, line.old_slip_per_1000_h) * hours / 1000.0) * (discharge - suction)
        speed = np.where(on, (flow + slip) / per_rev, 0.0)
        kw = flow * (discharge - suction) / 1714.0 / eff * 0.745699872
        p1 = np.where(on, discharge - 1.0, 3.0)
        return speed, kw, suction, discharge, p1, p1 - dp
    suction = np.full(ax.n, 0.2)
    discharge = np.where(on, 0.2 + 1.2 + dp, 0.2)
    slip = 0.35 * (1 + line.old_slip_per_1000_h * hours / 1000.0) * (discharge - suction)
    speed = np.where(on, (flow + slip) / 0.12, 0.0)
    kw = flow / 3600.0 * (discharge - suction) * 1e5 / 0.5 / 1000.0
    p1 = np.where(on, discharge - 0.1, 0.2)
    return speed, kw, suction, discharge, p1, p1 - dp
