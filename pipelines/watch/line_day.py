"""Minutes of one line and operating day as contiguous series, and usual values of earlier days."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from pipelines.base import units
from pipelines.plant import arrangements, limits
from pipelines.plant.model import Line, PlantFile, Signal
from pipelines.store import Store
from pipelines.watch import curve
from pipelines.watch.episodes import Mask, Values
from pipelines.watch.rules import Series, window_range
from schemas.roles import ROLES

_MINUTE_US = 60_000_000
RUNNING = ("idle running", "start-up", "processing")
_NO_SIGNAL = -1.0  # stands for a null coverage: the line has no such signal
SEEN = (
    "sludge_flow", "polymer_neat_flow", "polymer_solution_flow", "pump_speed", "pump_power", "pump_suction_pressure", "pump_discharge_pressure",
    "mixing_upstream_pressure", "mixing_downstream_pressure", "pump_run", "device_run", "sludge_total", "polymer_total", "makedown_water_flow", "dilution_water_flow",
    "wash_water_flow", "device_power", "feed_solids", "device_torque", "polymer_solution_strength",
    "headbox_level", "tank_level", "seal_water_flow", "pump_vibration",
)  # fmt: skip


@dataclass(frozen=True)
class LineDay:
    """One line on one operating day: minute k begins at `start` + k minutes; arrays have one place a minute."""

    line: Line
    day: date
    start: datetime
    state: NDArray[np.str_]
    series: dict[str, Series]
    has: frozenset[str]

    @property
    def line_id(self) -> str:
        return self.line.id

    @property
    def minutes(self) -> int:
        return len(self.state)

    def at(self, minute: int) -> datetime:
        return self.start + timedelta(minutes=minute)

    def minute_of(self, instant: datetime) -> int:
        """Return the minute of the day an instant falls in, cut to the day."""
        return max(0, min(self.minutes, int((instant - self.start).total_seconds() // 60)))

    def from_minute(self, minute: int) -> LineDay:
        """Return the rest of the day from a minute on."""
        rest = {role: Series(s.values[minute:], s.known[minute:]) for role, s in self.series.items()}
        return replace(self, start=self.at(minute), state=self.state[minute:], series=rest)

    def is_state(self, *states: str) -> Mask:
        return np.isin(self.state, states)

    def unrecorded(self) -> Mask:
        """Return the minutes in which no measurement of the line is known; what it was last said to do may be held longer."""
        measured = [self.series[role].known for role in self.has if ROLES[role].kind != "state"]
        return ~np.logical_or.reduce(measured) if measured else np.zeros(self.minutes, dtype=bool)

    def mixing_dp(self) -> Series:
        """Return the pressure drop across the mixing point [kPa], gauge heights taken out."""
        up, down = self.series["mixing_upstream_pressure"], self.series["mixing_downstream_pressure"]
        height = units.to_si(self.line.mixing_gauge_elevation * self.line.sludge_sg, "mH2O")
        return Series(up.values - down.values - height, up.known & down.known)


@dataclass(frozen=True)
class Usual:
    """Observations in state processing over one day or several: minutes with flow and mixing drop, suction pressures, powers.

    `ranges`: role -> the median range over 30 minutes of each day that has one.
    """

    standing: object
    pump: object
    flow: Values
    dp: Values
    suction: Values
    suction_flow: Values
    power: Values
    discharge: tuple[Values, ...]
    wash: tuple[Values, ...]
    torque: tuple[Values, ...]
    headbox: tuple[Values, ...]
    seal: tuple[Values, ...]
    ranges: dict[str, tuple[float, ...]]


def days_of(store: Store, line: Line, first: date, last: date) -> Iterator[LineDay]:
    """Yield the days of a line that have minutes, in order."""
    columns = ", ".join(
        f"coalesce({ROLES[r].column}, 'nan'::DOUBLE) AS {r}, coalesce({ROLES[r].coverage}, {_NO_SIGNAL}) AS {r}_known" for r in SEEN
    )
    frame = store.frame(
        f"SELECT operating_day, minute_utc, state, {columns} FROM minutes "
        "WHERE line = $line AND operating_day BETWEEN $first AND $last ORDER BY operating_day, minute_utc",
        line=line.id, first=first, last=last,
    )  # fmt: skip
    if frame.height == 0:
        return
    arrays = {name: frame[name].to_numpy() for name in frame.columns if name not in ("operating_day", "minute_utc", "state")}
    number = frame["minute_utc"].dt.timestamp("us").to_numpy() // _MINUTE_US
    state = frame["state"].to_numpy().astype("<U16")
    days = frame["operating_day"].to_physical().to_numpy()
    starts = np.flatnonzero(np.diff(days, prepend=days[0] - 1))
    for begin, end in zip(starts, [*starts[1:], len(days)], strict=True):
        rows = slice(int(begin), int(end))
        cut = {name: values[rows] for name, values in arrays.items()}
        yield _line_day(line, frame["operating_day"][int(begin)], frame["minute_utc"][int(begin)], number[rows], state[rows], cut)


def _line_day(
    line: Line, day: date, start: datetime, number: NDArray[np.int64], state: NDArray[np.str_], arrays: dict[str, Values]
) -> LineDay:
    """Lay the rows of a day on contiguous minutes by their minute number; a minute without row is unknown."""
    place, size = number - number[0], int(number[-1] - number[0]) + 1
    states = np.full(size, "unknown", dtype="<U16")
    states[place] = state
    series = {}
    for role in SEEN:
        values, coverage = np.full(size, np.nan), np.zeros(size)
        values[place], coverage[place] = arrays[role], arrays[f"{role}_known"]
        known = (coverage >= limits.COVERED_SHARE) & ~np.isnan(values)
        series[role] = Series(np.where(known, values, 0.0), known)
    has = frozenset(r for r in SEEN if bool((arrays[f"{r}_known"] != _NO_SIGNAL).any()))
    return LineDay(line, day, start, states, series, has)


def usual_of(day: LineDay, roles: Sequence[str], standing: object, pump: object) -> Usual:
    """Return what one day adds to the usual of what stands on the line; ranges for the given roles."""
    processing, flow, dp = day.is_state("processing"), day.series["sludge_flow"], day.mixing_dp()
    both = processing & flow.known & dp.known
    suction, power = day.series["pump_suction_pressure"], day.series["pump_power"]
    drawn = processing & suction.known & flow.known
    ranges: dict[str, tuple[float, ...]] = {}
    for role in roles:
        spread = window_range(day.series[role], processing)
        spread = spread[~np.isnan(spread)]
        ranges[role] = (float(np.median(spread)),) if len(spread) else ()
    return Usual(
        standing,
        pump,
        flow.values[both],
        dp.values[both],
        suction.values[drawn],
        flow.values[drawn],
        power.values[processing & power.known],
        _levels(day, "pump_discharge_pressure", processing),
        _levels(day, "wash_water_flow", processing),
        _levels(day, "device_torque", processing),
        _levels(day, "headbox_level", processing),
        _levels(day, "seal_water_flow", processing),
        ranges,
    )


def _levels(day: LineDay, role: str, processing: Mask) -> tuple[Values, ...]:
    return (day.series[role].values[processing & day.series[role].known],)


def together(days: Sequence[Usual], standing: object, pump: object) -> Usual:
    """Join the days: pressure drops of one arrangement (`standing`; None: of none), all else of one pump.

    Pressure drops of days that lie off the others are left out, so that a fault teaches nothing.
    """
    parts = [d for d in days if d.pump == pump]
    mixing = [d for d in days if d.standing == standing and standing is not None]
    suction, drawn, power = (np.concatenate([np.empty(0), *(getattr(p, n) for p in parts)]) for n in ("suction", "suction_flow", "power"))
    levels = {name: tuple(x for p in parts for x in getattr(p, name)) for name in ("discharge", "wash", "torque", "headbox", "seal")}
    kept = [p for p, is_alike in zip(mixing, curve.alike([(p.flow, p.dp) for p in mixing]), strict=True) if is_alike]
    flow, dp = (np.concatenate([np.empty(0), *(getattr(p, n) for p in kept)]) for n in ("flow", "dp"))
    roles = {role for p in parts for role in p.ranges}
    ranges = {r: tuple(x for p in parts for x in p.ranges.get(r, ())) for r in roles}
    if parts != days:  # a flow meter stays when the pump is changed, and so does its noise
        ranges["sludge_flow"] = tuple(x for d in days for x in d.ranges.get("sludge_flow", ()))
    return Usual(standing, pump, flow, dp, suction, drawn, power, **levels, ranges=ranges)


def instant_span(plant_file: PlantFile, signal: Signal) -> tuple[datetime, datetime]:
    """Return from when to when (exclusive) a tag has its role."""
    return plant_file.calendar.since(signal.since), plant_file.calendar.until(signal.until)


def signal_on(plant_file: PlantFile, line: str, role: str, when: datetime) -> Signal | None:
    """Return the signal that has a role of a line at a time; of several the one that began last."""
    found = []
    for index, signal in enumerate(plant_file.signals_of(line)):
        since, until = instant_span(plant_file, signal)
        if signal.role == role and since <= when < until:
            found.append((since, index, signal))
    return max(found, key=lambda f: f[:2])[2] if found else None


def signals_on(plant_file: PlantFile, line: str, when: datetime) -> dict[str, Signal]:
    """Return role -> the signal that `signal_on` gives, for all roles of a line at once but those it shares with the line they belong to."""
    found = [(s, *instant_span(plant_file, s)) for s in plant_file.signals_of(line) if s.line == line]
    holding = sorted(((since, k, s) for k, (s, since, until) in enumerate(found) if since <= when < until), key=lambda f: f[:2])
    return {s.role: s for _, _, s in holding}


def span_si(signal: Signal) -> float:
    """Return the transmitter span in the SI unit of the role; 0 when no range is given."""
    return (signal.range[1] - signal.range[0]) * units.unit(signal.unit).factor if signal.range else 0.0


def deadband_si(signal: Signal) -> float:
    """Return the deadband of the export in the SI unit of the role."""
    return signal.deadband * units.unit(signal.unit).factor


def changes(plant_file: PlantFile, line: str) -> list[datetime]:
    """Return when what stands on a line changed, sorted: edges of its arrangements, without any the logged events."""
    spells = arrangements.of_line(plant_file, line)
    if spells:
        return sorted({at for s in spells for at in (s.start_utc, s.transition_end_utc, s.end_utc)})
    return sorted(plant_file.calendar.since(e.at) for e in plant_file.events if e.line == line)
