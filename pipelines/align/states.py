"""Running state of each minute of a line, from its minute values.

Rules and shares: common practice, no source. Unknown evidence is carried along: a state is stated only when it holds
whatever the missing evidence would have said.
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
BRIDGED_MIN = limits.LONGEST_REACH // timedelta(minutes=1)  # [min] a hole this long does not end feeding
STOPPED, IDLE, STARTING, PROCESSING, SHUTDOWN, UNKNOWN = (
    RUNNING_STATES.index(word) for word in ("stopped", "idle running", "start-up", "processing", "shutdown", "unknown")
)


@dataclass(frozen=True)
class Evidence:
    """A statement about each minute: known to hold, or known not to hold; neither where evidence is missing.

    `exists` is false where the line has no such signal (then it is neither).
    """

    yes: Truth
    no: Truth
    exists: Truth

    @property
    def known(self) -> Truth:
        return self.yes | self.no


def running_states(roles: Mapping[str, RoleMinutes], line: Line, n: int) -> NDArray[np.uint8]:
    """Return the running state of each of `n` consecutive minutes, as its place in RUNNING_STATES.

    A line that feeds in the first minute counts as feeding for long: begin early enough before the minutes you keep
    (`look_back_min`).
    """
    running, flow = pump_runs(roles, line, n), _above(roles, "sludge_flow", line.feed_cutoff, n)
    device, wash = _on(roles, "device_run", n), _active(roles, "wash_water_flow", n)
    polymer = _above(roles, "polymer_neat_flow" if line.polymer_meter == "neat" else "polymer_solution_flow", line.polymer_cutoff, n)
    feeding = running.yes & flow.yes
    can_press = device.yes | ~device.exists  # a line without that signal is taken to run its device when it feeds
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
    """Return how many minutes before a minute can decide its state: the start-up time, a hole it reaches over, and one that starts it."""
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
    """Return whether the pump runs as far as it can be told: as `pump_runs`; against a run bit that stands off while two or more others agree.

    The state of such a minute stays unknown, but the line may have processed: it counts as lost, not as standing.
    """
    pump = pump_runs(roles, line, n)
    stuck_off = contradicted(roles, line, n) & _on(roles, "pump_run", n).no
    return Evidence(pump.yes | stuck_off, pump.no, pump.exists)


def _others(roles: Mapping[str, RoleMinutes], line: Line, n: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return how many of speed, power and flow say that the pump runs, and how many that it does not."""
    others = (_active(roles, "pump_speed", n), _active(roles, "pump_power", n), _above(roles, "sludge_flow", line.feed_cutoff, n))
    return np.sum([o.yes for o in others], axis=0), np.sum([o.no for o in others], axis=0)


def contradicted(roles: Mapping[str, RoleMinutes], line: Line, n: int) -> Truth:
    """Return minutes in which two or more other signals contradict the run bit and none agrees: the bit is not believed."""
    bit = _on(roles, "pump_run", n)
    yes, no = _others(roles, line, n)
    return np.asarray((bit.yes & (yes == 0) & (no >= 2)) | (bit.no & (no == 0) & (yes >= 2)))


def _above(roles: Mapping[str, RoleMinutes], role: str, limit: float | Values, n: int) -> Evidence:
    """Return whether the value of a role is above a limit, known where the minute is covered for half."""
    if role not in roles:
        never = np.zeros(n, dtype=bool)
        return Evidence(never, never, never)
    found = roles[role]
    covered = found.coverage >= limits.COVERED_SHARE  # nan, no such signal, is not
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
    """Return the minutes of holes in the evidence that break feeding: longer than BRIDGED_MIN, in minutes nothing shows running.

    Start-up goes on through a shorter hole, and through one in which the pump or the register is known to have run. The
    alternative, a start-up after every hole, took its 15 to 60 minutes out of the dose each time.
    """
    silent = unknown & ~is_running
    edges = np.flatnonzero(np.diff(np.concatenate(([False], silent, [False])).astype(np.int8)))
    long = np.zeros(len(silent), dtype=bool)
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        long[start:end] = end - start > BRIDGED_MIN
    return long


def _minutes_since(broken: Truth) -> Values:
    """Return how many minutes lie between each minute and the last one that broke feeding; infinite when none is known."""
    position = np.arange(len(broken), dtype=np.float64)
    last_break: Values = np.maximum.accumulate(np.where(broken, position, -np.inf))
    return position - last_break - 1.0
