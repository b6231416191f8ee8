"""Truck tickets of hauled cake and the polymer store's book, with the truth behind them.

The scale house writes a ticket a truck; the storekeeper reads the tank before the first shift of each Monday and of the
first day of the data, and books every delivery with its lot. Both send a sheet a week. Quiet books are exact, and then
every day's cake is hauled on the day; else what does not fill a truck waits for the next day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from math import ceil
from typing import Any

import numpy as np

from sample_data.axis import Axis
from sample_data.exports import QUIET_DIGITS, File
from sample_data.physics import Array
from sample_data.process import LOT_DAYS, Truth
from sample_data.scenario import PlantScenario

SHORT_TON_T, LB_KG = 0.90718474, 0.45359237
TRUCK_T = {"alder-fork": 20 * SHORT_TON_T, "brenholm": 12.0}  # what a truck takes; the second plant sends no tickets
SCALE_SD, STOCK_SD = 0.002, 0.01  # errors of the truck scale (share of the load) and of a tank reading (share of the tank)
RESERVE_DAYS = 10  # of mean use that a delivery leaves in the tank before it comes
LANDS = time(15, 30)  # plant time, the day after the week


@dataclass(frozen=True)
class Entry:
    """A line of a book: what is true [t of wet cake, kg of polymer as supplied]; `line` is where it is booked."""

    day: int
    line: str
    what: str  # wet_mass, delivered_mass, stock_mass
    number: str
    true: float
    shown: float
    lot: str = ""


def entries(plant: PlantScenario, ax: Axis, truths: list[Truth], rng: np.random.Generator, quiet: bool) -> list[Entry]:
    """Return all tickets and store entries of a plant in order of day; none for a plant that keeps no such books."""
    if plant.plant not in TRUCK_T:
        return []
    tickets = [e for k, t in enumerate(truths, 1) for e in _tickets(plant, ax, t, k, rng, quiet)]
    return sorted(tickets + _store(plant, ax, truths, rng, quiet), key=lambda e: e.day)


def wet_cake_t(ax: Axis, t: Truth) -> Array:
    """Return the wet cake [t] that each operating day made, start-up included."""
    fed = (t.roles["sludge_flow"] > 0) & (ax.day >= 0)
    solids = t.roles["sludge_flow"][fed] * t.sludge.ts_pct[fed] / 100.0 / 60.0
    wet = solids * t.capture[fed] / t.cake_ts_pct[fed] * 100.0
    return np.bincount(ax.day[fed], weights=wet, minlength=len(ax.days))


def neat_kg(plant: PlantScenario, ax: Axis, truths: list[Truth]) -> Array:
    """Return the polymer as supplied [kg] that all lines used on each operating day."""
    inside = ax.day >= 0
    minute = sum(t.roles["polymer_neat_flow"] for t in truths) * plant.density_kg_m3 / 60.0
    return np.bincount(ax.day[inside], weights=minute[inside], minlength=len(ax.days))


def _tickets(plant: PlantScenario, ax: Axis, t: Truth, line_no: int, rng: np.random.Generator, quiet: bool) -> list[Entry]:
    truck, hopper, out = TRUCK_T[plant.plant], 0.0, []
    for day, made in enumerate(wet_cake_t(ax, t)):
        hopper += float(made)
        trucks = ceil(hopper / truck - 1e-9) if quiet else int(hopper / truck)
        loads = [min(truck, hopper - k * truck) for k in range(trucks)]
        hopper -= sum(loads)
        for k, load in enumerate(loads, 1):
            error = 0.0 if quiet else SCALE_SD * float(rng.standard_normal())
            out.append(Entry(day, t.line, "wet_mass", f"T{line_no}{ax.days[day]:%y%m%d}-{k}", load, load * (1.0 + error)))
    return out


def _store(plant: PlantScenario, ax: Axis, truths: list[Truth], rng: np.random.Generator, quiet: bool) -> list[Entry]:
    """Return tank readings and deliveries: a lot every LOT_DAYS, as much as is used until the next one."""
    used = neat_kg(plant, ax, truths)
    reserve = RESERVE_DAYS * float(used.mean())
    tank, stock, out = reserve + LOT_DAYS * float(used.mean()) * 1.3, reserve, []
    for day, use in enumerate(used):
        if day == 0 or ax.days[day].isoweekday() == 1:
            error = 0.0 if quiet else STOCK_SD * tank * float(rng.standard_normal())
            out.append(Entry(day, truths[0].line, "stock_mass", f"S{ax.days[day]:%y%m%d}", stock, max(0.0, stock + error)))
        if day % LOT_DAYS == 0:
            lot, mass = day // LOT_DAYS + 1, float(used[day : day + LOT_DAYS].sum())
            error = 0.0 if quiet else SCALE_SD * float(rng.standard_normal())
            out.append(
                Entry(day, truths[0].line, "delivered_mass", f"D{ax.days[day]:%y%m%d}", mass, mass * (1.0 + error), f"lot {lot:02d}")
            )
            stock += mass
        stock -= float(use)
    return out


def sheets(plant: PlantScenario, ax: Axis, found: list[Entry], quiet: bool) -> list[File]:
    """Return the sheets: one of tickets and one of the store for each week that has entries."""
    out = []
    for first in range(0, len(ax.days), 7):
        week = [e for e in found if first <= e.day < first + 7]
        for name, whats in (("TICKETS", ("wet_mass",)), ("STORE", ("stock_mass", "delivered_mass"))):
            rows = [e for e in week if e.what in whats]
            if rows:
                out.append(_file(plant, ax, name, first, rows, quiet))
    return out


_LINES = {
    "alder-fork": {"line-1": "press 1 hopper", "line-2": "press 2 hopper"},
    "brenholm": {"line-1": "container"},
}
_WORDS = {"wet_mass": "net weight", "stock_mass": "tank reading", "delivered_mass": "delivery"}


def _file(plant: PlantScenario, ax: Axis, name: str, first: int, rows: list[Entry], quiet: bool) -> File:
    us = plant.plant == "alder-fork"
    made = ax.days[min(first + 6, len(ax.days) - 1)] + timedelta(days=1)
    head = "Number,Date,Place,Item,Amount,Unit,Lot" if us else "Nummer;Dato;Sted;Post;Maengde;Enhed;Parti"
    lines = [head, *((_row_us if us else _row_si)(ax.days[e.day], plant, e, quiet) for e in rows)]
    prefix = f"ALDER_{name}" if us else f"brenholm_{name.lower()}"
    content = ("\n".join(lines) + "\n").encode("utf-8" if us else "latin-1")
    return File(f"{prefix}_{made:%Y%m%d}.csv", content, datetime.combine(made, LANDS))


def _place(plant: PlantScenario, e: Entry) -> str:
    return _LINES[plant.plant][e.line] if e.what == "wet_mass" else "polymer tank"


def _amount(value: float, digits: int, quiet: bool) -> str:
    return f"{value:.{QUIET_DIGITS}g}" if quiet else f"{value:.{digits}f}"


def _row_us(day: date, plant: PlantScenario, e: Entry, quiet: bool) -> str:
    shown, unit, digits = (e.shown / SHORT_TON_T, "short_ton", 2) if e.what == "wet_mass" else (e.shown / LB_KG, "lb", 0)
    return ",".join([e.number, f"{day:%m/%d/%Y}", _place(plant, e), _WORDS[e.what], _amount(shown, digits, quiet), unit, e.lot])


def _row_si(day: date, plant: PlantScenario, e: Entry, quiet: bool) -> str:
    unit, digits = ("t", 2) if e.what == "wet_mass" else ("kg", 0)
    amount = _amount(e.shown, digits, quiet).replace(".", ",")
    return ";".join([e.number, f"{day:%d-%m-%Y}", _place(plant, e), _WORDS[e.what], amount, unit, e.lot])


def truth_rows(plant: PlantScenario, ax: Axis, truths: list[Truth], found: list[Entry]) -> list[dict[str, Any]]:
    """Return what the books should show per operating day: cake made and hauled [t wet] per line, polymer used and delivered [kg]."""
    used = neat_kg(plant, ax, truths)
    out = []
    for t in truths:
        made = wet_cake_t(ax, t)
        hauled, delivered = np.zeros(len(ax.days)), np.zeros(len(ax.days))
        for e in found:
            if e.line == t.line and e.what != "stock_mass":
                (hauled if e.what == "wet_mass" else delivered)[e.day] += e.true
        first = t.line == truths[0].line  # the store is booked on the first line, for all lines
        out += [
            {"plant": plant.plant, "line": t.line, "operating_day": day, "cake_made_t": float(made[i]), "cake_hauled_t": float(hauled[i]),
             "polymer_neat_used_kg": float(used[i]) if first else 0.0, "polymer_delivered_kg": float(delivered[i])}
            for i, day in enumerate(ax.days)
        ]  # fmt: skip
    return out
