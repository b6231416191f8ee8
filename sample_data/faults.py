"""Planted faults: what happens, where, when exactly, what it does to the data, and whether a careful reader can undo it.

`handled` says yes when the day's ratios (dose, feed TS, cake, capture, dilution) can still be had within 1 % of the truth, be it
that the truth itself moves, that the bad values show, or that the right ones come later; totals lose the minutes concerned,
and means of pressure move a little with them. It says no when a number must be wrong or missing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from sample_data.axis import Axis
from sample_data.fault_script import SCRIPT, Entry
from sample_data.instruments import Shown
from sample_data.lab import Result
from sample_data.operators import Bools, Schedule
from sample_data.physics import PSI_KPA
from sample_data.process import Disturbance
from sample_data.scenario import PlantScenario

BAD_WORDS = ("Bad", "Bad, no communication")
BURST_EVERY_DAYS, BURST_MINUTES = 10.0, (5, 90)  # bursts of bad quality at the second plant: one per so many days, so long
REVISED_AFTER_DAYS = 3


@dataclass(frozen=True)
class Fault:
    """One planted fault; `span` are minutes of the axis, `day` the operating or calendar day it is about."""

    plant: str
    line: str  # empty: the whole plant
    kind: str
    start_utc: datetime
    end_utc: datetime
    label: str
    effect: str
    handled: str
    span: slice
    day: int
    file_day: date
    role: str = ""
    amount: float = 0.0

    def on_process(self, wrong: Disturbance) -> None:
        """Change what truly happens on the line."""
        at, amount = self.span, self.amount
        if self.kind == "feed TS step":
            wrong.ts[at] *= amount
        elif self.kind in ("polymer outage", "overdosing"):
            wrong.polymer[at] *= amount
        elif self.kind == "weak solution":
            wrong.strength[at] *= amount
        elif self.kind == "polymer left on":
            wrong.polymer_on_m3_h[at] = amount
        elif self.kind in ("dry run", "blocked suction"):
            wrong.flow[at] *= amount
            wrong.suction_kpa[at] -= 4.0 * PSI_KPA
        elif self.kind == "deadhead":
            wrong.flow[at] *= amount
            wrong.discharge_kpa[at] += 40.0 * PSI_KPA
        elif self.kind == "valve throttled":
            wrong.valve_kpa[at] += amount * PSI_KPA
        elif self.kind == "wash water low":
            wrong.wash[at] *= amount
        elif self.kind == "torque excursion":
            wrong.torque_pct[at] += amount
        elif self.kind == "short cycling":  # 8 minutes on, 7 off
            minutes = np.arange(at.start, at.stop)
            wrong.pump_off[minutes[(minutes - at.start) % 15 >= 8]] = True

    def on_instruments(self, shown: list[Shown]) -> None:
        """Change what the instruments show; an empty role means all analog tags."""
        for s in shown:
            if s.line != self.line or (s.role != self.role if self.role else s.kind != "analog"):
                continue
            self._on_one(s)

    def _on_one(self, s: Shown) -> None:
        at, amount = self.span, self.amount
        now = np.zeros(len(s.values), dtype=bool)
        now[at] = True
        if self.kind in ("flatline", "plugged tap"):
            s.values[at] = s.values[max(at.start - 1, 0)]
        elif self.kind == "spike burst":
            s.values[at][::3] *= amount
        elif self.kind in ("out of range", "run bit stuck on", "run bit stuck off"):
            s.values[at] = amount
        elif self.kind == "re-ranged":
            s.values[at] *= amount
        elif self.kind == "no record":
            s.gone |= now
        elif self.kind == "bad quality burst":
            s.status[BAD_WORDS[self.day % 2]] = s.status.get(BAD_WORDS[self.day % 2], np.zeros(len(now), dtype=bool)) | now
        elif self.kind == "uncertain quality":
            s.status["Uncertain"] = now
        elif self.kind == "local override":
            s.status["Good, local override"] = now
        elif self.kind == "totaliser reset":
            s.values[at.start :] = (s.values[at.start :] - s.values[at.start]) % 1_000_000.0

    def on_results(self, found: list[Result]) -> list[Result]:
        """Change what the lab reports."""
        if not self.kind.startswith("lab "):
            return found
        if self.kind == "lab swapped bottles":
            return self._swapped(found)
        return [new for r in found for new in (self._on_result(r) if (r.line, r.day) == (self.line, self.day) else [r])]

    def _on_result(self, r: Result) -> list[Result]:
        feed = (r.point, r.analyte) == ("feed", "ts")
        if self.kind == "lab unit slip" and feed:
            return [replace(r, value=r.value * 1e4)]
        if self.kind == "lab moisture for solids" and r.point == "cake":
            return [replace(r, value=100.0 - r.value)]
        if self.kind == "lab revised" and feed:
            return [replace(r, value=r.value * self.amount), replace(r, known_days=r.known_days + REVISED_AFTER_DAYS)]
        return [r]

    def _swapped(self, found: list[Result]) -> list[Result]:
        """Return the results as if feed and filtrate bottles of the day, filled together, had changed labels."""
        mine = [r for r in found if (r.line, r.day) == (self.line, self.day) and r.analyte in ("ts", "tss") and r.point != "cake"]
        pct = {(r.sample[:-1], r.point): r.value / (1e4 if r.unit == "mg/L" else 1.0) for r in reversed(mine)}
        out = []
        for r in found:
            other = pct.get((r.sample[:-1], "filtrate" if r.point == "feed" else "feed")) if r in mine else None
            out.append(r if other is None else replace(r, value=other * (1e4 if r.unit == "mg/L" else 1.0)))
        return out


def plan(
    plant: PlantScenario, ax: Axis, runs: list[Schedule], rng: np.random.Generator, quiet: bool, entries: tuple[Entry, ...] | None = None
) -> list[Fault]:
    """Return the faults of a plant that fall within the axis, in order of start; without `entries` those of its script."""
    chosen = SCRIPT[plant.plant] if entries is None else entries
    made = [f for e in chosen if (f := _placed(plant, ax, runs, e)) is not None]
    if entries is None and plant.plant == "sorrel-draw" and not quiet:
        made += _bursts(plant, ax, rng)
    return sorted(made, key=lambda f: (f.start_utc, f.line, f.kind, f.role))


def _placed(plant: PlantScenario, ax: Axis, runs: list[Schedule], e: Entry) -> Fault | None:
    """Return an entry of the script as a fault with its minutes, or None where the data do not reach or the line stands still."""
    if e.day >= len(ax.days):
        return None
    index = next((k for k, line in enumerate(plant.lines) if line.line == e.line), 0)
    day = ax.days[e.day]
    if e.anchor == "file":
        zone = UTC if plant.plant == "sorrel-draw" else ZoneInfo(plant.zone)
        start, end = (datetime.combine(d, time(), zone).astimezone(UTC) for d in (day, day + timedelta(days=1)))
        end += timedelta(minutes=e.minutes - 1440)  # what is lost with the file can reach past it
        span = slice(ax.minute_of(start), ax.minute_of(end))
    else:
        found = _span(plant, ax, runs[index].pump_on, e)
        if found is None:
            return None
        span, start, end = found, ax.instant(found.start), ax.instant(found.stop)
    label = f"{e.kind}: {e.role}" if e.role else e.kind
    return Fault(plant.plant, e.line, e.kind, start, end, label, e.effect, e.handled, span, e.day, day, e.role, e.amount)


def _span(plant: PlantScenario, ax: Axis, on: Bools, e: Entry) -> slice | None:
    """Return the minutes of an entry: counted from the end of start-up, from the pump's stop, or whole operating days."""
    inside = np.flatnonzero(ax.day == e.day)
    running = inside[on[inside]]
    if e.anchor == "day":
        last = np.flatnonzero(ax.day < e.day + max(1, e.minutes // 1440))
        return slice(int(inside[0]), int(last[-1]) + 1)
    if not len(running):
        return None
    start = int(running[0]) + plant.startup_min + e.first if e.anchor == "run" else int(running[-1]) + 1 + e.first
    start = -(-start // plant.step_min) * plant.step_min
    if start + e.minutes > ax.n or (e.anchor == "run" and not on[start : start + min(e.minutes, 60)].all()):
        return None
    return slice(start, start + e.minutes)


def _bursts(plant: PlantScenario, ax: Axis, rng: np.random.Generator) -> list[Fault]:
    out = []
    for start in np.sort(rng.integers(0, ax.n - BURST_MINUTES[1], rng.poisson(ax.run_days / BURST_EVERY_DAYS))):
        span = slice(int(start), int(start + rng.integers(*BURST_MINUTES)))
        begin, end, day = ax.instant(span.start), ax.instant(span.stop), int(ax.day[start])
        effect = "values frozen and marked bad: missing"
        out.append(
            Fault(plant.plant, "line-1", "bad quality burst", begin, end, "all analog tags bad", effect, "yes", span, day, begin.date())
        )
    return out


def disturbance(script: list[Fault], line: str, ax: Axis) -> Disturbance:
    """Return what the script does to the process of a line; an entry without a line is about all of them."""
    wrong = Disturbance.none(ax.n)
    for fault in script:
        if fault.line in ("", line):
            fault.on_process(wrong)
    return wrong


def rollovers(plant: PlantScenario, ax: Axis, shown: list[Shown]) -> list[Fault]:
    """Return the rollovers of the totaliser registers as faults, so that they are listed."""
    out = []
    for s in shown:
        for m in np.flatnonzero(np.diff(s.values) < 0) + 1 if s.kind == "total" else ():
            at, end = ax.instant(m), ax.instant(m + 1)
            out.append(
                Fault(plant.plant, s.line, "totaliser rollover", at, end, "register passes 999999", "increment by the capacity", "yes",
                      slice(int(m), int(m) + 1), int(ax.day[m]), at.date(), s.role)
            )  # fmt: skip
    return out


def touched_days(script: list[Fault], plant: PlantScenario) -> dict[tuple[str, date], bool]:
    """Return (line, operating day) of every day a fault touches -> whether all faults of that day are handled."""
    zone = ZoneInfo(plant.zone)
    out: dict[tuple[str, date], bool] = {}
    for f in script:
        day, last = (
            (at.astimezone(zone) - timedelta(hours=plant.day_start_h)).date() for at in (f.start_utc, f.end_utc - timedelta(minutes=1))
        )
        while day <= last:
            for line in plant.lines:
                if f.line in ("", line.line):
                    out[line.line, day] = out.get((line.line, day), True) and f.handled == "yes"
            day += timedelta(days=1)
    return out
