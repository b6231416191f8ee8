"""Totaliser increments: rollover, reset and impossible jumps on both sides of their edges (rules: common practice, no source)."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.plant.registers import IMPOSSIBLE, NORMAL, RESET, ROLLOVER, increments

HOUR_US = 3_600_000_000


def judged(before: float, after: float, *, hours: float = 1.0, cap: float | None = 1000.0, rate: float | None = 100.0) -> tuple[float, int]:
    step, verdict = increments(np.array([0, round(hours * HOUR_US)]), np.array([before, after]), cap, rate)
    assert np.isnan(step[0])
    assert verdict[0] == NORMAL
    return float(step[1]), int(verdict[1])


def test_a_rise_up_to_twelve_tenths_of_the_largest_rate() -> None:
    assert judged(10, 10) == (0.0, NORMAL)
    assert judged(10, 130) == (120.0, NORMAL)  # 1.2 x 100 per hour x 1 h, exactly
    step, verdict = judged(10, 130.001)
    assert np.isnan(step)
    assert verdict == IMPOSSIBLE
    assert judged(10, 130.001, hours=1.01) == (pytest.approx(120.001), NORMAL)
    assert judged(10, 900, rate=None) == (890.0, NORMAL)


def test_a_rollover_falls_from_near_the_cap_to_near_zero_at_a_believable_rate() -> None:
    assert judged(950, 50) == (pytest.approx(100.0), ROLLOVER)  # 50 up to the cap, 50 beyond
    assert judged(901, 19) == (pytest.approx(118.0), ROLLOVER)
    assert judged(960, 80) == (pytest.approx(120.0), ROLLOVER)  # at the rate's edge
    # 900 is not above 0.9 cap, 100 not below 0.1 cap: the new value alone is believable, so it is a reset
    assert judged(900, 10) == (10.0, RESET)
    assert judged(990, 100) == (100.0, RESET)
    # a rate just too large for a rollover, but the new value alone is believable
    assert judged(959, 80) == (80.0, RESET)
    assert judged(950, 50, cap=None) == (50.0, RESET)


def test_a_reset_counts_the_new_value_and_anything_else_is_impossible() -> None:
    assert judged(500, 0) == (0.0, RESET)
    assert judged(500, 120) == (120.0, RESET)
    for before, after in ((500, 120.001), (500, 499), (950, -1)):
        step, verdict = judged(before, after)
        assert np.isnan(step)
        assert verdict == IMPOSSIBLE


def test_without_a_largest_rate_a_fall_is_no_volume() -> None:
    # 500,000 to 40,000: a new register, not 40,000 of flow in the hour
    step, verdict = judged(500_000, 40_000, cap=None, rate=None)
    assert np.isnan(step)
    assert verdict == IMPOSSIBLE
    assert judged(950, 50, rate=None) == (pytest.approx(100.0), ROLLOVER)


@pytest.mark.parametrize("cap", [10.0**6, 10.0**7, 2.0**16, 2.0**32, 1000.0 * 10**5])
def test_rollovers_of_usual_registers(cap: float) -> None:
    # 30 units before the cap, 20 after it: 50 in the hour, whatever the register
    assert judged(cap - 30, 20, cap=cap) == (pytest.approx(50.0, abs=1e-6), ROLLOVER)


def test_a_register_that_runs_backwards_or_was_replaced_is_unknown_for_one_step_only() -> None:
    # backwards by 2 of 5,000; forwards again; then another head that stands at 61,234
    readings = np.array([4_990.0, 5_000.0, 4_998.0, 5_008.0, 61_234.0, 61_244.0])
    step, verdict = increments(np.arange(6) * HOUR_US, readings, 1e6, 100.0)
    assert verdict.tolist() == [NORMAL, NORMAL, IMPOSSIBLE, NORMAL, IMPOSSIBLE, NORMAL]
    assert np.nansum(step) == 30.0


def test_no_time_no_flow_and_nothing_to_compare() -> None:
    assert judged(10, 10, hours=0) == (0.0, NORMAL)
    assert judged(10, 11, hours=0)[1] == IMPOSSIBLE
    step, verdict = increments(np.array([], dtype=np.int64), np.array([]), 1.0, 1.0)
    assert len(step) == len(verdict) == 0


def test_a_long_run_adds_up_to_what_flowed() -> None:
    # 7 units every 6 minutes for 300 steps through a register of 1000: total 2100, two rollovers, whatever the start
    true = 880.0 + 7.0 * np.arange(301)
    step, verdict = increments(np.arange(301) * (HOUR_US // 10), true % 1000.0, 1000.0, 100.0)
    assert np.nansum(step) == pytest.approx(2100.0)
    assert (verdict == ROLLOVER).sum() == 2
    assert set(verdict) == {NORMAL, ROLLOVER}
