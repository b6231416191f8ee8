"""Rules of process and equipment, each on both sides of its limits."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.watch import process_rules as rules
from pipelines.watch.rules import Series

N = 240


def series(level: float, part: slice = slice(0), value: float = 0.0) -> Series:
    values = np.full(N, level)
    values[part] = value
    return Series(values, np.ones(N, dtype=bool))


ALL, OFF = np.ones(N, dtype=bool), np.zeros(N, dtype=bool)


@pytest.mark.parametrize(("minutes", "flags"), [(4, 0), (5, 1)])
def test_polymer_left_on_from_five_minutes(minutes: int, flags: int) -> None:
    polymer = series(0.0, slice(100, 100 + minutes), 6.0)
    found = rules.polymer_left_on(series(0.0), 5.0, polymer, 0.1, OFF)
    assert len(found) == flags
    assert [e.facts["polymer_m3"] for e in found] == [pytest.approx(0.5)] * flags  # 5 min at 6 m3/h
    assert rules.polymer_left_on(series(90.0), 5.0, polymer, 0.1, OFF) == []
    assert rules.polymer_left_on(series(0.0), 5.0, polymer, 0.1, ALL) == []  # the pump turns: a dry run has its own flag


@pytest.mark.parametrize(("every", "flags"), [(14, 1), (15, 0)])
def test_short_cycling_is_more_than_four_starts_within_an_hour(every: int, flags: int) -> None:
    """Five starts 14 min apart span 56 minutes; 15 apart they span 60, which is no longer within the hour."""
    on = OFF.copy()
    for k in range(5):
        on[20 + k * every : 20 + k * every + 11] = True  # no short runs
    found = rules.short_cycling(on, ALL)
    assert len(found) == flags
    assert [e.facts["starts"] for e in found] == [5] * flags


@pytest.mark.parametrize(("flow", "flags"), [(8.4, 1), (8.5, 0)])
def test_wash_water_below_85_per_cent(flow: float, flags: int) -> None:
    assert len(rules.wash_water_low(series(10.0, slice(50, 60), flow), ALL, 10.0)) == flags
    assert rules.wash_water_low(series(10.0, slice(50, 59), 5.0), ALL, 10.0) == []  # nine minutes


def test_suction_line_goes_downhill_or_is_level() -> None:
    flow = np.linspace(50.0, 100.0, 200)
    falling = rules.suction_line(flow, 30.0 - 0.001 * flow**2)
    assert (falling.intercept, falling.slope) == pytest.approx((30.0, -0.001))
    assert rules.suction_line(flow, 10.0 + 0.001 * flow**2).slope == 0.0


@pytest.mark.parametrize(("drop", "flow", "flags"), [(13.7, 80.0, 0), (13.9, 80.0, 1), (13.9, 86.0, 0)])
def test_blocked_suction_needs_pressure_and_flow_down(drop: float, flow: float, flags: int) -> None:
    """Flow of 90 before: 86 is 95.6 % of it and not down, 80 is."""
    where = slice(120, 140)
    found = rules.blocked_suction(series(90.0, where, flow), series(20.0, where, 20.0 - drop), ALL, rules.Line(20.0, 0.0))
    assert len(found) == flags


@pytest.mark.parametrize(("pressure", "flags"), [(134.0, 0), (135.0, 1)])
def test_deadhead_is_no_flow_above_the_pressure_limit(pressure: float, flags: int) -> None:
    where = slice(100, 102)
    assert len(rules.deadhead(ALL, series(90.0, where, 0.0), 5.0, series(100.0, where, pressure), 134.5)) == flags


@pytest.mark.parametrize(
    ("torque", "usual", "flags"), [(75.0, 50.0, 0), (76.0, 50.0, 1), (89.0, None, 0), (91.0, None, 1), (91.0, 80.0, 1)]
)
def test_torque_high(torque: float, usual: float | None, flags: int) -> None:
    assert len(rules.torque_high(series(50.0, slice(10, 15), torque), ALL, usual)) == flags


@pytest.mark.parametrize(("strength", "flags"), [(0.345, 0), (0.335, 1), (0.465, 1)])
def test_strength_more_than_15_per_cent_off(strength: float, flags: int) -> None:
    assert len(rules.strength_off(series(0.40, slice(10, 40), strength), ALL, 0.40)) == flags


def test_spikes_come_back_within_two_minutes_and_steps_do_not() -> None:
    rng = np.random.default_rng(3)
    values = 90.0 + rng.normal(0, 0.5, N)
    values[20:232:10] = 130.0  # 22 single minutes
    found = rules.spike_episode(rules.spikes(Series(values, ALL), ALL))
    assert [(e.start, e.held) for e in found] == [(20, 22)]
    stepped = np.where(np.arange(N) < 120, 90.0, 130.0) + rng.normal(0, 0.5, N)
    assert len(rules.spikes(Series(stepped, ALL), ALL)) == 0


@pytest.mark.parametrize(("minutes", "runs", "flags"), [(9, 3, 1), (10, 3, 0), (9, 2, 0)])
def test_three_runs_of_less_than_ten_minutes_are_short_cycling(minutes: int, runs: int, flags: int) -> None:
    on = OFF.copy()
    for k in range(runs):
        on[20 + k * 70 : 20 + k * 70 + minutes] = True
    assert len(rules.short_cycling(on, ALL)) == flags
    assert rules.short_cycling(on, OFF) == []  # nothing known, nothing counted


@pytest.mark.parametrize(("low", "minutes", "flags"), [(4.9, 5, 1), (5.0, 5, 0), (4.9, 4, 0)])
def test_level_low_is_below_its_limit_for_its_minutes(low: float, minutes: int, flags: int) -> None:
    found = rules.level_low(series(40.0, slice(60, 60 + minutes), low), ALL, 5.0, 5)
    assert [(e.start, e.end, e.facts["value"]) for e in found] == [(60, 65, pytest.approx(4.9))] * flags
    assert rules.level_low(series(40.0, slice(60, 70), 0.0), OFF, 5.0, 5) == []  # the pump stands


@pytest.mark.parametrize(("high", "minutes", "flags"), [(7.2, 5, 1), (7.1, 5, 0), (7.2, 4, 0)])
def test_level_high_is_above_its_limit_for_its_minutes(high: float, minutes: int, flags: int) -> None:
    assert len(rules.level_high(series(2.0, slice(60, 60 + minutes), high), ALL, 7.1, 5)) == flags


def test_blocked_suction_of_a_new_pump_is_judged_by_the_hour_before() -> None:
    """No curve yet: 20 kPa less and 15 % less flow than in the hour before; in the first half hour there is nothing to compare with."""
    where = slice(120, 140)
    flow, suction = series(90.0, where, 76.5), series(20.0, where, 0.0)
    (found,) = rules.blocked_suction(flow, suction, ALL, None)
    assert (found.start, found.end, found.facts["flow_before_m3_h"]) == (120, 140, 90.0)
    early = slice(10, 30)
    assert rules.blocked_suction(series(90.0, early, 76.5), series(20.0, early, 0.0), ALL, None) == []
