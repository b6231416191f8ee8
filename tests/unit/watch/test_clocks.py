"""Run bit against flow: the lag of the edges to the second, its limits, and a run bit that is stuck."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.watch import clocks
from pipelines.watch.clocks import Edges, Witnesses
from pipelines.watch.rules import Series

N = 1440


def flow_of(*runs: tuple[float, float], level: float = 90.0, ramp_min: float = 0.0) -> Series:
    """Minute means of a flow that runs between times [min]; with a ramp it rises evenly for so long."""
    fine = (np.arange(N * 60) + 0.5) / 60.0
    value = np.zeros(len(fine))
    for a, b in runs:
        inside = (fine >= a) & (fine < b)
        value[inside] = level * (np.clip((fine[inside] - a) / ramp_min, 0, 1) if ramp_min else 1.0)
    return Series(value.reshape(N, 60).mean(axis=1), np.ones(N, dtype=bool))


def bit_of(*runs: tuple[float, float]) -> Edges:
    return Edges(np.array([a for a, _ in runs]), np.array([b for _, b in runs]))


@pytest.mark.parametrize("cutoff", [5.0, 45.0, 85.0])
@pytest.mark.parametrize("lag_s", [0.0, 20.0, 59.0, 61.0, 299.0, 301.0, -75.0])
def test_the_lag_is_found_to_the_second_whatever_the_cutoff(lag_s: float, cutoff: float) -> None:
    run = (100.25, 400.75)
    late = (run[0] + lag_s / 60, run[1] + lag_s / 60)
    lag = clocks.edge_lag(bit_of(run), clocks.flow_edges(flow_of(late), cutoff))
    assert lag is not None
    assert lag.seconds == pytest.approx(lag_s, abs=1.01)  # the flow is made of seconds
    assert (lag.edges, lag.first, lag.last) == (2, 100.25, 400.75)


def test_a_slow_start_is_no_clock_error() -> None:
    run = (100.0, 400.0)
    lag = clocks.edge_lag(bit_of(run), clocks.flow_edges(flow_of(run, ramp_min=10.0), 5.0))
    assert lag is not None
    assert abs(lag.seconds) < 2.0


def test_starts_and_stops_shifted_apart_are_none_either() -> None:
    lag = clocks.edge_lag(bit_of((100.0, 400.0)), clocks.flow_edges(flow_of((103.0, 397.0)), 5.0))
    assert lag is not None
    assert lag.seconds == 0.0


def test_the_median_of_several_runs() -> None:
    runs = [(100.0, 200.0), (300.0, 400.0), (500.0, 600.0)]
    flows = [(102.0, 202.0), (302.0, 402.0), (515.0, 602.0)]  # one start was slow
    lag = clocks.edge_lag(bit_of(*runs), clocks.flow_edges(flow_of(*flows), 5.0))
    assert lag is not None
    assert (lag.seconds, lag.edges) == (pytest.approx(120.0), 6)


@pytest.mark.parametrize(("apart", "matched"), [(30.0, True), (30.5, False)])
def test_edges_half_an_hour_apart_belong_together_and_no_further(apart: float, matched: bool) -> None:
    flow = Edges(np.array([100.0 + apart]), np.array([400.0 + apart]))
    assert (clocks.edge_lag(bit_of((100.0, 400.0)), flow) is not None) == matched


def test_no_lag_without_both_kinds_of_edge() -> None:
    nothing = np.empty(0)
    assert clocks.edge_lag(Edges(np.array([10.0]), nothing), Edges(np.array([10.0]), nothing)) is None
    assert clocks.edge_lag(bit_of((10.0, 20.0)), Edges(nothing, nothing)) is None


def test_an_edge_of_the_flow_answers_one_edge_of_the_bit() -> None:
    # the bit chatters three times, the flow comes once: the nearest start counts
    bit = Edges(np.array([100.0, 105.0, 109.0]), np.array([103.0, 107.0, 400.0]))
    lag = clocks.edge_lag(bit, clocks.flow_edges(flow_of((110.0, 401.0)), 5.0))
    assert lag is not None
    assert (lag.seconds, lag.edges) == (pytest.approx(60.0), 2)


def test_edges_of_the_bit_need_readings_on_both_sides() -> None:
    at, on = np.arange(8.0), np.array([0.0, 1.0, 1.0, np.nan, 0.0, 1.0, 0.49, 0.5])
    found = clocks.bit_edges(at, on)
    assert found.rising.tolist() == [1.0, 5.0, 7.0]
    assert found.falling.tolist() == [6.0]


def test_unknown_minutes_give_no_edge() -> None:
    flow = flow_of((100.0, 200.0))
    known = flow.known.copy()
    known[99] = False
    found = clocks.flow_edges(Series(flow.values, known), 5.0)
    assert (len(found.rising), len(found.falling)) == (0, 1)


def test_how_long_one_value_lasts() -> None:
    running = np.ones(N, dtype=bool)
    assert clocks.told_each_min(Series(np.arange(N) * 1.0, running), running) == 1.0
    assert clocks.told_each_min(Series(np.arange(N) // 15 * 1.0, running), running) == 15.0
    assert clocks.told_each_min(Series(np.arange(N) * 1.0, running), ~running) == np.inf


def witnesses(flow: float, speed_standing: bool, power: float, n: int = 100) -> Witnesses:
    all_ = np.ones(n, dtype=bool)
    return Witnesses(Series(np.full(n, flow), all_), 5.0, 100.0, all_ & speed_standing, Series(np.full(n, power), all_), 50.0, ~all_)


def bit(on: float, length: int, n: int = 100) -> Series:
    """Known for some minutes only, from minute 20 on."""
    known = np.zeros(n, dtype=bool)
    known[20 : 20 + length] = True
    return Series(np.full(n, on), known)


@pytest.mark.parametrize(("length", "count"), [(10, 1), (9, 0)])
@pytest.mark.parametrize(("on", "seen"), [(1.0, (4.99, True, 0.0)), (0.0, (10.01, False, 5.01))])
def test_stuck_for_ten_minutes(on: float, seen: tuple[float, bool, float], length: int, count: int) -> None:
    found = clocks.stuck(bit(on, length), witnesses(*seen))
    assert [(e.start, e.end, e.facts["run_bit"]) for e in found] == [(20, 20 + length, "on" if on else "off")] * count


@pytest.mark.parametrize(
    ("on", "seen"),
    [
        (1.0, (5.0, True, 0.0)),  # flow at its cut-off
        (1.0, (0.0, False, 0.0)),  # the pump turns, or nobody knows
        (0.0, (10.0, False, 40.0)),  # flow at a tenth of its span
        (0.0, (90.0, False, 5.0)),  # power at a tenth of its span
        (0.0, (4.0, True, 0.0)),  # off, and all agree
        (1.0, (90.0, False, 40.0)),  # on, and all agree
    ],
)
def test_a_run_bit_that_is_believed(on: float, seen: tuple[float, bool, float]) -> None:
    assert clocks.stuck(bit(on, 60), witnesses(*seen)) == []


def test_a_run_bit_is_held_for_its_limit() -> None:
    found = clocks.bit_by_minute(np.array([2.0, 10.25, 11.0]), np.array([1.0, 0.0, np.nan]), 5.0, 20)
    assert np.flatnonzero(found.known).tolist() == [2, 3, 4, 5, 6, 10]  # 2.0 + 5 is past the middle of minute 6
    assert found.values[[2, 6, 10]].tolist() == [1.0, 1.0, 0.0]
    assert not clocks.bit_by_minute(np.empty(0), np.empty(0), 5.0, 20).known.any()
    assert clocks.bit_by_minute(np.array([-60.0]), np.array([1.0]), 60.5, 3).known.tolist() == [True, False, False]
