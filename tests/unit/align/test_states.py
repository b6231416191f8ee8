"""Running state: every state, both sides of every edge, and what missing or conflicting evidence does."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pipelines.align.grid import RoleMinutes
from pipelines.align.states import look_back_min, pump_known, pump_runs, running_states
from pipelines.plant.model import Line
from schemas.vocabulary import RUNNING_STATES
from tests.plants import plant_file

LINE = plant_file(line={"startup": "3 min", "polymer_cutoff": "20 L/h"}).lines[0]
RANGES = {
    "pump_speed": (0.0, 300.0),
    "pump_power": (0.0, 40.0),
    "wash_water_flow": (0.0, 20.0),
    "sludge_flow": (0.0, 100.0),
    "polymer_neat_flow": (0.0, 1.0),
}
LONG = 10  # minutes of the same before the one asked for: past the start-up time of 3

PROCESSING = {"pump_run": 1.0, "device_run": 1.0, "sludge_flow": 50.0, "polymer_neat_flow": 0.1, "pump_speed": 200.0, "pump_power": 10.0}
OFF = {
    "pump_run": 0.0,
    "device_run": 0.0,
    "sludge_flow": 0.0,
    "polymer_neat_flow": 0.0,
    "pump_speed": 0.0,
    "pump_power": 0.0,
    "wash_water_flow": 0.0,
}
UNCOVERED = None


def words(minutes: list[dict[str, float | None]], coverage: dict[str, float] | None = None, line: Line = LINE) -> list[str]:
    """States of minutes given as role -> value (None: not covered); roles not named in any minute do not exist."""
    roles: dict[str, RoleMinutes] = {}
    for role in dict.fromkeys(name for minute in minutes for name in minute):
        given = [minute.get(role) for minute in minutes]
        value = np.array([np.nan if g is None else g for g in given])
        covered = np.array([0.0 if g is None else (coverage or {}).get(role, 1.0) for g in given])
        low, high = RANGES.get(role, (np.nan, np.nan))
        n = len(minutes)
        roles[role] = RoleMinutes(value, covered, np.zeros(n, dtype=bool), np.full(n, low), np.full(n, high))
    return [RUNNING_STATES[code] for code in running_states(roles, line, len(minutes))]


def state(base: dict[str, Any], coverage: dict[str, float] | None = None, without: tuple[str, ...] = (), **changed: float | None) -> str:
    """State of a minute after LONG equal ones."""
    minute = {k: v for k, v in (base | changed).items() if k not in without}
    return words([minute] * LONG, coverage)[-1]


@pytest.mark.parametrize(
    ("expected", "minute"),
    [
        ("processing", PROCESSING),
        ("stopped", OFF),
        ("shutdown", OFF | {"device_run": 1.0}),
        ("shutdown", OFF | {"wash_water_flow": 10.0}),
        ("idle running", PROCESSING | {"sludge_flow": 0.0}),
        ("idle running", PROCESSING | {"polymer_neat_flow": 0.0}),  # fed without polymer
        ("idle running", PROCESSING | {"device_run": 0.0}),
        ("unknown", dict.fromkeys(PROCESSING, UNCOVERED)),
    ],
)
def test_each_state(expected: str, minute: dict[str, float | None]) -> None:
    assert state(minute) == expected


@pytest.mark.parametrize(
    ("role", "at", "above", "expected"),
    [
        ("sludge_flow", 5.0, 5.0001, ("idle running", "processing")),  # cut-off 5 m3/h
        ("polymer_neat_flow", 0.02, 0.02001, ("idle running", "processing")),  # cut-off 20 L/h
        ("device_run", 0.4999, 0.5, ("idle running", "processing")),  # half of the minute counts as on
    ],
)
def test_edges_of_processing(role: str, at: float, above: float, expected: tuple[str, str]) -> None:
    assert (state(PROCESSING, **{role: at}), state(PROCESSING, **{role: above})) == expected


def test_edge_of_wash_water_is_five_percent_of_its_range() -> None:
    assert state(OFF, wash_water_flow=1.0) == "stopped"  # 5 % of 20
    assert state(OFF, wash_water_flow=1.0001) == "shutdown"


def test_edge_of_the_run_bit() -> None:
    base = {"pump_run": 1.0, "sludge_flow": 0.0}
    assert state(base, pump_run=0.5) == "idle running"
    assert state(base, pump_run=0.4999) == "stopped"


@pytest.mark.parametrize("role", ["sludge_flow", "polymer_neat_flow", "device_run"])
def test_edge_of_coverage(role: str) -> None:
    assert state(PROCESSING, {role: 0.5}) == "processing"
    assert state(PROCESSING, {role: 0.4999}) == "unknown"


@pytest.mark.parametrize(("role", "at", "above"), [("pump_speed", 15.0, 15.001), ("pump_power", 2.0, 2.001)])
def test_edge_of_speed_and_power_is_five_percent_of_their_range(role: str, at: float, above: float) -> None:
    alone = {"sludge_flow": 5.0, "device_run": 0.0}  # flow says off; a tie with speed or power is a conflict
    assert state(alone | {role: at}) == "stopped"
    assert state(alone | {role: above}) == "unknown"


def test_start_up_counts_from_the_first_feeding_minute_after_one_that_is_not() -> None:
    found = words([OFF, *[PROCESSING] * 5, OFF | {"pump_run": 1.0}, *[PROCESSING] * 4])
    conflict = "unknown"  # run bit on, speed, power and flow off
    assert found == ["stopped", *["start-up"] * 3, *["processing"] * 2, conflict, *["start-up"] * 3, "processing"]


def test_a_fraction_of_a_start_up_minute_counts_whole() -> None:
    line = LINE.model_copy(update={"startup": 2.5 / 60.0})
    assert words([OFF, *[PROCESSING] * 4], line=line) == ["stopped", *["start-up"] * 3, "processing"]
    assert look_back_min(line) == 3 + 30 + 1  # start-up, the longest hole it reaches over, the minute before


def test_no_start_up_time() -> None:
    assert words([OFF, PROCESSING], line=LINE.model_copy(update={"startup": 0.0})) == ["stopped", "processing"]


NOTHING = dict.fromkeys(PROCESSING, UNCOVERED)


@pytest.mark.parametrize(("hole", "after"), [(30, ["processing"] * 4), (31, [*["start-up"] * 3, "processing"])])
def test_feeding_goes_on_through_a_hole_of_half_an_hour(hole: int, after: list[str]) -> None:
    assert words([OFF, *[PROCESSING] * 5, *[NOTHING] * hole, *[PROCESSING] * 4])[-4:] == after


@pytest.mark.parametrize("shown", [{"pump_power": 10.0, "pump_speed": 200.0}, {"sludge_total": 0.8}])
def test_feeding_goes_on_through_a_longer_hole_in_which_the_pump_or_the_register_ran(shown: dict[str, float]) -> None:
    running, hole = PROCESSING | {"sludge_total": 0.8}, NOTHING | {"sludge_total": UNCOVERED} | shown
    found = words([OFF | {"sludge_total": 0.0}, *[running] * 5, *[hole] * 60, *[running] * 4])
    assert found[6:66] == ["unknown"] * 60
    assert found[-4:] == ["processing"] * 4


def test_a_start_up_that_a_hole_interrupts_counts_the_minutes_of_the_hole() -> None:
    assert words([OFF, PROCESSING, NOTHING, *[PROCESSING] * 3]) == [
        "stopped",
        "start-up",
        "unknown",
        "start-up",
        "processing",
        "processing",
    ]


def test_a_run_bit_that_stands_off_against_all_others_leaves_the_pump_running_and_the_state_unknown() -> None:
    stuck = {role: np.full(1, value) for role, value in (PROCESSING | {"pump_run": 0.0}).items()}
    roles = {
        role: RoleMinutes(value, np.ones(1), np.zeros(1, dtype=bool), *(np.full(1, end) for end in RANGES.get(role, (np.nan, np.nan))))
        for role, value in stuck.items()
    }
    assert [RUNNING_STATES[code] for code in running_states(roles, LINE, 1)] == ["unknown"]
    assert pump_known(roles, LINE, 1).yes.tolist() == [True]
    assert pump_runs(roles, LINE, 1).known.tolist() == [False]


def test_start_up_does_not_ask_for_polymer_or_device() -> None:
    dry = PROCESSING | {"polymer_neat_flow": 0.0, "device_run": UNCOVERED}
    assert words([OFF, *[dry] * 4]) == ["stopped", *["start-up"] * 3, "idle running"]


def test_polymer_outage_and_return_do_not_restart_the_timer() -> None:
    outage = PROCESSING | {"polymer_neat_flow": 0.0}
    assert words([*[PROCESSING] * 4, outage, PROCESSING]) == ["processing"] * 4 + ["idle running", "processing"]


def test_feeding_in_the_first_minute_counts_as_feeding_for_long() -> None:
    assert words([PROCESSING]) == ["processing"]


VOTES = ("pump_speed", "pump_power", "sludge_flow")
ON, NOT = {"pump_speed": 200.0, "pump_power": 10.0, "sludge_flow": 50.0}, {"pump_speed": 0.0, "pump_power": 0.0, "sludge_flow": 0.0}


@pytest.mark.parametrize(
    ("bit", "on", "off", "running"),
    [
        # the run bit, covered others that say on and off -> runs (True), does not (False), not known (None)
        (1.0, (), (), True),
        (0.0, (), (), False),
        (1.0, ("pump_speed",), ("pump_power", "sludge_flow"), True),  # one agrees: the bit decides
        (0.0, ("pump_speed", "pump_power"), ("sludge_flow",), False),
        (1.0, (), ("pump_speed",), True),  # one alone cannot overrule it
        (0.0, ("pump_speed",), (), False),
        (1.0, (), ("pump_speed", "pump_power"), None),  # two or more, all against it
        (0.0, ("pump_speed", "pump_power"), (), None),
        (1.0, (), VOTES, None),
        (0.0, VOTES, (), None),
        (None, ("pump_speed", "sludge_flow"), ("pump_power",), True),  # no run bit: the majority
        (None, ("pump_speed",), ("pump_power", "sludge_flow"), False),
        (None, ("sludge_flow",), (), True),
        (None, (), ("sludge_flow",), False),
        (None, ("pump_speed",), ("sludge_flow",), None),  # a tie
        (None, (), (), None),
    ],
)
def test_vote_on_running(bit: float | None, on: tuple[str, ...], off: tuple[str, ...], running: bool | None) -> None:
    """Read off from what a line without device and polymer shows: idle running, stopped, or unknown."""
    minute: dict[str, float | None] = {role: ON[role] for role in on} | {role: NOT[role] for role in off}
    minute |= {role: UNCOVERED for role in VOTES if role not in minute}
    minute |= {"device_run": 0.0, "polymer_neat_flow": 0.0}
    runs = "unknown" if minute["sludge_flow"] is None else "idle running"
    expected = {True: runs, False: "stopped", None: "unknown"}[running]
    assert state(minute | {"pump_run": bit}) == expected
    if bit is None:
        assert state(minute) == expected  # a line that has no run bit at all


def test_running_with_an_unknown_flow_is_unknown() -> None:
    assert state(PROCESSING, sludge_flow=UNCOVERED) == "unknown"


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"device_run": UNCOVERED}, "unknown"),  # would decide
        ({"polymer_neat_flow": UNCOVERED}, "unknown"),
        ({"device_run": UNCOVERED, "polymer_neat_flow": 0.0}, "idle running"),  # cannot change it any more
        ({"device_run": 0.0, "polymer_neat_flow": UNCOVERED}, "idle running"),
    ],
)
def test_missing_evidence_while_feeding(changed: dict[str, float | None], expected: str) -> None:
    assert state(PROCESSING, **changed) == expected


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"device_run": UNCOVERED}, "unknown"),  # stopped or shutdown
        ({"device_run": UNCOVERED, "wash_water_flow": 10.0}, "shutdown"),  # either way
        ({"wash_water_flow": UNCOVERED}, "stopped"),  # wash water speaks only when it flows
        ({"polymer_neat_flow": UNCOVERED}, "stopped"),
    ],
)
def test_missing_evidence_while_not_running(changed: dict[str, float | None], expected: str) -> None:
    assert state(OFF, **changed) == expected


def test_a_line_without_a_device_signal_is_taken_to_run_it_when_it_feeds() -> None:
    assert state(PROCESSING, without=("device_run",)) == "processing"
    assert state(OFF, without=("device_run", "wash_water_flow")) == "stopped"
    assert state(PROCESSING, without=("device_run",), sludge_flow=0.0) == "idle running"


def test_a_line_without_its_polymer_meter_is_never_known_to_process() -> None:
    assert state(PROCESSING, without=("polymer_neat_flow",)) == "unknown"


def test_the_solution_meter_decides_where_it_is_the_one_named() -> None:
    line = LINE.model_copy(update={"polymer_meter": "solution"})
    assert words([PROCESSING | {"polymer_solution_flow": 0.0}] * LONG, line=line)[-1] == "idle running"
    assert words([PROCESSING | {"polymer_solution_flow": 0.5}] * LONG, line=line)[-1] == "processing"


def test_a_line_without_any_signal_is_unknown() -> None:
    assert [RUNNING_STATES[code] for code in running_states({}, LINE, 2)] == ["unknown", "unknown"]
