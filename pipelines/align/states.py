"""Running state of each minute of a line, from its minute values. Rules and default shares: common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from pipelines.plantfile import Line, Signal
from schemas.vocabulary import RUNNING_STATES

COVERED = 0.5  # share of the minute that must be known for its value to count
ON_SHARE = 0.5  # share of the minute from which a state counts as on
ACTIVE_SHARE = 0.05  # of the transmitter range: speed or power above it says the pump turns
STOPPED, IDLE, STARTING, PROCESSING, SHUTDOWN, UNKNOWN = range(6)  # places in RUNNING_STATES
LOOK_BACK_EXTRA_MIN = 10  # minutes beyond the start-up time that must be looked at to know that it has run out

Column = NDArray[np.float64]
Truth = NDArray[np.bool_]


def running_states(columns: Mapping[str, Column], line: Line, signals: Mapping[str, Signal], n: int) -> NDArray[np.str_]:
    """Return the running state of each of `n` minutes.

    `columns` maps column names of `minutes` to arrays (nan: unknown); a role the line lacks is not in `signals`.
    The first minute's start-up timer counts as run out when it feeds: begin early enough before what you keep.
    """
    role = _Reader(columns, signals, n)
    running, known = _running(role, line)
    flow, flow_known = role.value("sludge_flow"), role.covered("sludge_flow")
    feeding = running & known & flow_known & (flow > line.feed_cutoff)
    starting = feeding & (_minutes_since_start(feeding) < line.startup_min)
    device, device_known = role.on("device_run", missing=True)
    meter = "polymer_neat_flow" if line.polymer_meter == "neat" else "polymer_solution_flow"
    polymer, polymer_known = role.value(meter) > line.polymer_cutoff, role.covered(meter)
    wash = role.covered("wash_water_flow") & (role.value("wash_water_flow") > line.feed_cutoff)
    device_on = device & device_known & role.has("device_run")
    state = np.full(n, STOPPED)
    state[device_on | wash] = SHUTDOWN
    state[running] = IDLE
    fed = feeding & ~starting
    state[fed & device & polymer] = PROCESSING
    state[fed & ~(device_known & polymer_known)] = UNKNOWN
    state[starting] = STARTING
    state[~known | (running & ~flow_known)] = UNKNOWN
    return np.asarray(RUNNING_STATES)[state]


class _Reader:
    """Values, coverage and on/off of roles; a role the line lacks is never covered."""

    def __init__(self, columns: Mapping[str, Column], signals: Mapping[str, Signal], n: int) -> None:
        self.columns, self.signals, self.n = columns, signals, n

    def has(self, role: str) -> bool:
        return role in self.signals

    def value(self, role: str) -> Column:
        """Return the values with unknown as minus infinity, so that no comparison above a limit holds."""
        found = self.columns[self.signals[role].meaning.column] if self.has(role) else np.full(self.n, np.nan)
        return np.where(np.isfinite(found), found, -np.inf)

    def covered(self, role: str) -> Truth:
        return self.columns[self.signals[role].meaning.coverage] >= COVERED if self.has(role) else np.zeros(self.n, dtype=bool)

    def on(self, role: str, *, missing: bool) -> tuple[Truth, Truth]:
        """Return (on, known); a role the line lacks is `missing` and known."""
        if not self.has(role):
            return np.full(self.n, missing), np.ones(self.n, dtype=bool)
        return self.value(role) >= ON_SHARE, self.covered(role)

    def active(self, role: str) -> Truth:
        """Tell where speed or power is above the active share of the transmitter range."""
        if not self.has(role):
            return np.zeros(self.n, dtype=bool)
        signal = self.signals[role]
        low, high = _range_si(signal)
        return self.value(role) > low + ACTIVE_SHARE * (high - low)


def _range_si(signal: Signal) -> tuple[float, float]:
    from pipelines import units

    low, high = signal.range or (0.0, 1.0)
    return units.to_si(low, signal.unit), units.to_si(high, signal.unit)


def _running(role: _Reader, line: Line) -> tuple[Truth, Truth]:
    """Return (pump runs, that is known): the run bit decides unless two or more others all contradict it."""
    others = [(role.active("pump_speed"), role.covered("pump_speed")), (role.active("pump_power"), role.covered("pump_power"))]
    others.append((role.value("sludge_flow") > line.feed_cutoff, role.covered("sludge_flow")))
    covered = np.sum([c for _, c in others], axis=0)
    yes = np.sum([on & c for on, c in others], axis=0)
    bit, bit_known = role.value("pump_run") >= ON_SHARE, role.covered("pump_run")
    contradicted = (covered >= 2) & np.where(bit, yes == 0, yes == covered)
    by_vote = 2 * yes >= np.maximum(covered, 1)
    running = np.where(bit_known, bit, by_vote)
    known = np.where(bit_known, ~contradicted, covered > 0)
    return running & known, known


def _minutes_since_start(feeding: Truth) -> NDArray[np.float64]:
    """Return, for feeding minutes, how many minutes before them fed without a break; infinite from the array's start on."""
    n = len(feeding)
    position = np.arange(n, dtype=np.float64)
    breaks = np.where(~feeding, position, -np.inf)
    last_break = np.maximum.accumulate(breaks) if n else breaks
    return position - last_break - 1.0
