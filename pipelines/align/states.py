"""Running state of each minute of a line, from its minute values.

Rules and shares: common practice, no source. Missing evidence stays missing: a state is assigned only when no value of the
missing signals could change it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from pipelines.align.grid import RoleMinutes
from pipelines.align.segments import Truth, Values
from pipelines.plant import limits
from pipelines.plant.model import Line
from schemas.vocabulary import RUNNING_STATES

ON_SHARE = 0.5  # share of the minute from which a state counts as on
ACTIVE_SHARE = 0.05  # of the transmitter range: speed, power or wash water above it counts as on
BRIDGED_MIN = limits.LONGEST_REACH // timedelta(minutes=1)  # [min] a gap up to this long does not end feeding
STOPPED, IDLE, STARTING, PROCESSING, SHUTDOWN, UNKNOWN = (
    RUNNING_STATES.index(word) for word in ("stopped", "idle running", "start-up", "processing", "shutdown", "unknown")
)


@dataclass(frozen=True)
class Evidence:
    """A condition in each minute: known true, known false, or neither where evidence is missing.

    `exists` is false where the line has no such signal; the condition is then unknown.
    """

    yes: Truth
    no: Truth
    exists: Truth

    @property
    def known(self) -> Truth:
        return self.yes | self.no


def running_states(roles: Mapping[str, RoleMinutes], line: Line, n: int) -> NDArray[np.uint8]:
    """Return the running state of each of `n` consecutive minutes, as its place in RUNNING_STATES.

    A line that feeds in the first minute is taken to have fed for long: start `look_back_min` before the minutes to be kept.
    """
    running, flow = pump_runs(roles, line, n), _above(roles, "sludge_flow", line.feed_cutoff, n)
    device, wash = _on(roles, "device_run", n), _active(roles, "wash_water_flow", n)
    polymer = _above(roles, "polymer_neat_flow" if line.polymer_meter == "neat" else "polymer_solution_flow", line.polymer_cutoff, n)
    feeding = running.yes & flow.yes
    can_press = device.yes | ~device.exists  # without a device signal, the device is taken to run when the line is fed
    state = np.full(n, UNKNOWN, dtype=np.uint8)
    state[running.no & ~device.yes & (device.no | ~device.exists)] = STOPPED
    state[running.no & (device.yes | wash.yes)] = SHUTDOWN
    state[running.yes & flow.no] = IDLE
    state[feeding & (device.no | polymer.no)] = IDLE
    state[feeding & can_press & polymer.yes] = PROCESSING
    stopped_feeding = (
        running.no | flow.no | _long_holes(~(feeding | running.no | flow.no), running.yes | _above(roles, "sludge_total", 0.0, n).yes)
    )
    state[feeding & (_minutes_since(stopped_feeding) < line.startup_min)] = STARTING
    return state


def look_back_min(line: Line) -> int:
    """Return how many earlier minutes can affect a minute's state: the start-up time, a gap bridged within it, and the minute that starts it."""
    return int(np.ceil(line.startup_min)) + BRIDGED_MIN + 1


def pump_runs(roles: Mapping[str, RoleMinutes], line: Line, n: int) -> Evidence:
    """Return whether the pump runs.

    The run bit decides unless two or more other covered signals all contradict it (unknown then). Without a covered
    run bit the majority of the others decides; a tie is a conflict.
    """
    bit = _on(roles, "pump_run", n)
    yes, no = _others(roles, line, n)
    against = contradicted(roles, line, n)
    on = np.where(bit.known, bit.yes & ~against, yes > no)
    off = np.where(bit.known, bit.no & ~against, no > yes)
    return Evidence(on, off, np.ones(n, dtype=bool))


def pump_known(roles: Mapping[str, RoleMinutes], line: Line, n: int) -> Evidence:
    """Return whether the pump runs, as far as known: like `pump_runs`, but running where the run bit is off and two or more other signals show running.

    The state of such a minute stays unknown, but the line may have processed sludge: the minute counts as lost, not as stopped.
    """
    pump = pump_runs(roles, line, n)
    stuck_off = contradicted(roles, line, n) & _on(roles, "pump_run", n).no
    return Evidence(pump.yes | stuck_off, pump.no, pump.exists)


def _others(roles: Mapping[str, RoleMinutes], line: Line, n: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return how many of speed, power and flow show the pump running, and how many show it stopped."""
    others = (_active(roles, "pump_speed", n), _active(roles, "pump_power", n), _above(roles, "sludge_flow", line.feed_cutoff, n))
    return np.sum([o.yes for o in others], axis=0), np.sum([o.no for o in others], axis=0)


def contradicted(roles: Mapping[str, RoleMinutes], line: Line, n: int) -> Truth:
    """Return the minutes in which two or more other signals contradict the run bit and none agrees with it."""
    bit = _on(roles, "pump_run", n)
    yes, no = _others(roles, line, n)
    return np.asarray((bit.yes & (yes == 0) & (no >= 2)) | (bit.no & (no == 0) & (yes >= 2)))


def _above(roles: Mapping[str, RoleMinutes], role: str, limit: float | Values, n: int) -> Evidence:
    """Return whether the value of a role is above a limit, known where at least half of the minute is covered."""
    if role not in roles:
        never = np.zeros(n, dtype=bool)
        return Evidence(never, never, never)
    found = roles[role]
    covered = found.coverage >= limits.COVERED_SHARE  # nan (no such signal) compares false
    above = found.value > limit
    return Evidence(covered & above, covered & ~above, ~np.isnan(found.coverage))


def _active(roles: Mapping[str, RoleMinutes], role: str, n: int) -> Evidence:
    """Return whether a role is above the active share of its transmitter range."""
    found = roles.get(role)
    return _above(roles, role, np.inf if found is None else found.low + ACTIVE_SHARE * (found.high - found.low), n)


def _on(roles: Mapping[str, RoleMinutes], role: str, n: int) -> Evidence:
    """Return whether a state was on for at least half of the covered part of the minute."""
    return _above(roles, role, np.nextafter(ON_SHARE, 0.0), n)


def _long_holes(unknown: Truth, is_running: Truth) -> Truth:
    """Return the minutes of evidence gaps that end feeding: longer than BRIDGED_MIN, and no signal shows running.

    Start-up continues through a shorter gap, and through one in which the pump or the register is known to have run. The
    alternative, a new start-up after every gap, excluded 15 to 60 minutes from the dose each time.
    """
    silent = unknown & ~is_running
    edges = np.flatnonzero(np.diff(np.concatenate(([False], silent, [False])).astype(np.int8)))
    long = np.zeros(len(silent), dtype=bool)
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        long[start:end] = end - start > BRIDGED_MIN
    return long


def _minutes_since(broken: Truth) -> Values:
    """Return the minutes since feeding was last interrupted, for each minute; infinite when no interruption is known."""
    position = np.arange(len(broken), dtype=np.float64)
    last_break: Values = np.maximum.accumulate(np.where(broken, position, -np.inf))
    return position - last_break - 1.0
