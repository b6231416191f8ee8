"""Running state of each minute of a line, from its minute values.

Rules and shares: common practice, no source. Unknown evidence is carried along: a state is stated only when it holds
whatever the missing evidence would have said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.align.grid import RoleMinutes
from pipelines.align.segments import Truth, Values
from pipelines.plant import limits
from pipelines.plant.model import Line
from schemas.vocabulary import RUNNING_STATES

ON_SHARE = 0.5  # share of the minute from which a state counts as on
ACTIVE_SHARE = 0.05  # of the transmitter range: speed, power or wash water above it counts as on
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
    state[feeding & (_minutes_fed_before(feeding) < line.startup_min)] = STARTING
    return state


def look_back_min(line: Line) -> int:
    """Return how many minutes before a minute can decide its state: the start-up time, and one that starts it."""
    return int(np.ceil(line.startup_min)) + 1


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


def _minutes_fed_before(feeding: Truth) -> Values:
    """Return how many minutes right before each one fed without a break; infinite when no break is known."""
    position = np.arange(len(feeding), dtype=np.float64)
    last_break: Values = np.maximum.accumulate(np.where(feeding, -np.inf, position))
    return position - last_break - 1.0
