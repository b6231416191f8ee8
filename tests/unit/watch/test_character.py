"""What a signal is like, on both sides of each limit (limits: common practice, no source, unless the module says this project's)."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.watch import signal_character
from pipelines.watch.rules import Linked, Series
from pipelines.watch.signal_character import Readings

N = 600
ALL = np.ones(N, dtype=bool)


def series(values: np.ndarray | float, known: np.ndarray | None = None) -> Series:
    filled = np.broadcast_to(np.asarray(values, dtype=float), (N,)).copy()
    return Series(filled, ALL if known is None else known)


def minutes(*spans: tuple[int, int]) -> np.ndarray:
    out = np.zeros(N, dtype=bool)
    for a, b in spans:
        out[a:b] = True
    return out


@pytest.mark.parametrize(("value", "pinned"), [(99.5, 6), (99.49999, 0), (100.0, 6), (101.0, 6)])
def test_clipped_from_the_top_half_percent_of_the_span(value: float, pinned: int) -> None:
    values = np.full(N, 50.0)
    values[100:106] = value
    count, found = signal_character.clipped(series(values), 0.0, 100.0)
    assert count == pinned
    assert [(e.start, e.end) for e in found] == ([(100, 106)] if pinned else [])


def test_clipped_needs_more_than_five_minutes_for_a_flag_but_counts_all() -> None:
    values = np.full(N, 50.0)
    values[100:105] = 100.0
    count, found = signal_character.clipped(series(values), 0.0, 100.0)
    assert (count, found) == (5, [])
    # a range that begins below zero: 99.5 % of -100 to 100 is 99
    assert signal_character.clipped(series(99.0), -100.0, 200.0)[0] == N
    assert signal_character.clipped(series(98.99), -100.0, 200.0)[0] == 0


def test_settled_minutes_leave_out_half_an_hour_at_both_ends_of_a_stop() -> None:
    assert np.flatnonzero(signal_character.settled(minutes((100, 161)))).tolist() == [130]
    assert not signal_character.settled(minutes((100, 160))).any()
    # the stop runs on after the day: nothing follows within it
    assert np.flatnonzero(signal_character.settled(minutes((560, 600)))).tolist() == list(range(590, 600))


def test_zero_offset_is_the_median_of_thirty_settled_minutes_or_more() -> None:
    values = np.where(np.arange(N) < 50, 100.0, 1.5)
    assert signal_character.zero_offset(series(values), minutes((0, 30))) == 100.0
    assert signal_character.zero_offset(series(values), minutes((0, 29))) is None
    assert signal_character.zero_offset(series(values), minutes((0, 150))) == 1.5
    assert signal_character.zero_offset(series(values, ~minutes((60, 90))), minutes((60, 119))) is None  # 29 known ones


def test_below_zero_while_running_only_and_beyond_noise() -> None:
    values = np.full(N, 10.0)
    values[10:20], values[300:310] = -3.0, -3.0
    negative, volume = signal_character.below_zero(series(values), minutes((0, 100)), 100.0)
    assert np.flatnonzero(negative).tolist() == list(range(10, 20))
    assert volume == pytest.approx(10 * 3.0 / 60.0)
    for lowest, any_ in ((-0.1, False), (-0.1001, True)):  # 0.1 % of the span
        values = np.full(N, 10.0)
        values[5], values[6] = lowest, -0.01
        negative, volume = signal_character.below_zero(series(values), ALL, 100.0)
        assert negative.any() == any_
        assert volume == (pytest.approx((0.1001 + 0.01) / 60) if any_ else 0.0)


@pytest.mark.parametrize(("n", "spread", "expected"), [(60, 0.0, True), (59, 0.0, False), (60, 1.1e-7, False), (60, 0.9e-7, True)])
def test_a_signal_that_stands_exactly(n: int, spread: float, expected: bool) -> None:
    values = np.full(N, 40.0)
    values[3] += spread  # the edge is 1e-9 of the span: minute means of one value differ by their last digits
    assert signal_character.stands(series(values), minutes((0, n)), 100.0) == expected


@pytest.mark.parametrize(("swing", "expected"), [(3.0, False), (3.001, True)])
def test_a_linked_signal_moved_by_more_than_three_percent(swing: float, expected: bool) -> None:
    values = np.zeros(N)
    values[50] = swing
    assert signal_character.moved([Linked("x", series(values), 100.0)], ALL) == expected
    assert not signal_character.moved([Linked("x", series(values), 100.0)], minutes((100, 200)))
    assert not signal_character.moved([], ALL)


def test_repeats_and_their_share() -> None:
    values = np.arange(N) // 4 * 1.0  # each value four times: three of four repeat, the last step is within a block
    again, share = signal_character.repeats(series(values), ALL, 100.0)
    assert again.sum() == 450
    assert share == pytest.approx(450 / 599)
    assert signal_character.repeats(series(values), minutes((0, 121)), 100.0)[1] == pytest.approx(90 / 120)
    assert signal_character.repeats(series(values), minutes((0, 120)), 100.0)[1] is None  # 119 pairs


def held(deadband: float, seed: int = 4, resolution: float = 0.01) -> Readings:
    """A wandering signal logged when it left a deadband, then written each minute as if measured."""
    rng = np.random.default_rng(seed)
    true = 50.0 + np.cumsum(rng.normal(0, 0.3, N))
    logged, out = true[0], []
    for value in true:
        if abs(value - logged) > deadband:
            logged = value
        out.append(round(round(logged / resolution) * resolution, 6))
    return Readings(np.arange(N) * 1.0, np.array(out))


def test_a_grid_of_held_values_is_told_from_measured_ones() -> None:
    assert signal_character.is_held_grid(held(1.0), 100.0)
    assert not signal_character.is_held_grid(held(0.0), 100.0)  # measured each minute: moves each minute
    # measured with a coarse display: repeats itself more than half of the time, but creeps by its finest step
    coarse = held(0.0, resolution=1.0)
    assert (np.diff(coarse.value) == 0).mean() > 0.5
    assert not signal_character.is_held_grid(coarse, 100.0)


def test_a_held_grid_needs_readings_levels_blocks_and_a_grid() -> None:
    full = held(1.0)
    levels, blocks = len(np.unique(full.value)), np.diff(full.value)
    assert levels >= 10
    assert (blocks == 0).mean() >= 0.5
    assert signal_character.is_held_grid(Readings(full.at[:120], full.value[:120]), 100.0) == signal_character.is_held_grid(
        full.within(minutes((0, 120))), 100.0
    )
    assert not signal_character.is_held_grid(Readings(full.at[:119], full.value[:119]), 100.0)
    ragged = full.at + np.random.default_rng(1).uniform(0, 0.5, N)
    assert not signal_character.is_held_grid(Readings(ragged, full.value), 100.0)  # a log of changes has no grid
    frozen = np.round(50 + np.random.default_rng(2).normal(0, 1, N), 2)
    frozen[100:500] = frozen[100]  # one long block is a frozen signal, not a grid of held values
    assert not signal_character.is_held_grid(Readings(full.at, frozen), 100.0)


@pytest.mark.parametrize(("moving", "expected"), [(50, True), (49, False)])
def test_others_moved_in_half_of_the_repeated_minutes(moving: int, expected: bool) -> None:
    other = np.zeros(N)
    other[101 : 101 + moving] = np.arange(1, moving + 1)
    other[101 + moving :] = moving
    repeated = minutes((101, 201))
    assert signal_character.others_moved([Linked("x", series(other), 100.0)], repeated) == expected


@pytest.mark.parametrize(("n", "expected"), [(120, 0.5), (119, None)])
def test_register_over_meter(n: int, expected: float | None) -> None:
    # 60 m3/h is one cubic metre a minute; the register counts half of it
    assert signal_character.register_ratio(series(0.5), series(60.0), minutes((0, n))) == expected
    assert signal_character.register_ratio(series(0.5), series(0.0), ALL) is None


def test_readings_within_minutes() -> None:
    found = Readings(np.array([-0.5, 0.0, 0.9, 1.0, 599.9, 600.0]), np.arange(6.0)).within(minutes((0, 1), (599, 600)))
    assert found.value.tolist() == [1.0, 2.0, 4.0]
    assert found.distinct_minutes == 2
