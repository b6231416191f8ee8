"""Slow drift of the flow a revolution."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from pipelines.watch.drift import BASELINE_DAYS, drift, off_days

FIRST = date(2026, 1, 5)


def days(change: np.ndarray, seed: int = 4, rho: float = 0.5) -> list[tuple[date, float]]:
    rng = np.random.default_rng(seed)
    noise = np.zeros(len(change))
    for t in range(1, len(noise)):
        noise[t] = rho * noise[t - 1] + 0.004 * rng.standard_normal()
    return [(FIRST + timedelta(days=k), float(0.1 * np.exp(noise[k]) * (1 + change[k]))) for k in range(len(change))]


def test_quiet_seeds_have_no_drift() -> None:
    """Autocorrelated noise of 0.5 %: no drift of more than 2 % in 100 days, whatever the seed."""
    assert [seed for seed in range(40) if drift(days(np.zeros(100), seed)) is not None] == []


def test_a_meter_that_gains_six_per_cent_in_sixty_days_is_found_and_dated() -> None:
    change = np.concatenate([np.zeros(40), np.linspace(0, 0.06, 60)])
    found = drift(days(change))
    assert found is not None
    assert found.change == pytest.approx(0.055, abs=0.012)  # the average looks back over some ten days
    assert abs((found.first - (FIRST + timedelta(days=40))).days) <= 15


def test_a_step_is_dated_to_the_day() -> None:
    change = np.concatenate([np.zeros(40), np.full(20, 0.05)])
    found = drift(days(change))
    assert found is not None
    assert abs((found.first - (FIRST + timedelta(days=40))).days) <= 1


def test_needs_more_than_its_baseline() -> None:
    assert drift(days(np.concatenate([np.zeros(5), np.full(BASELINE_DAYS - 5, 0.2)]))) is None


def test_days_off_the_usual_flow_per_revolution_are_one_episode_and_teach_nothing() -> None:
    """Ten days at 1.0, then 1.2, 1.2, 1.0: two days 20 % up. With 14 % up there is none, and none before five days are known."""
    start = FIRST

    def daily(*values: float) -> list[tuple[date, float]]:
        return [(start + timedelta(days=k), v) for k, v in enumerate(values)]

    (found,) = off_days(daily(*[1.0] * 10, 1.2, 1.2, 1.0))
    assert (found.first, found.last, found.days) == (start + timedelta(days=10), start + timedelta(days=11), 2)
    assert found.change == pytest.approx(0.2)
    assert off_days(daily(*[1.0] * 10, 1.14)) == []
    assert off_days(daily(*[1.0] * 4, 1.2)) == []
    assert [f.change > 0 for f in off_days(daily(*[1.0] * 10, 1.2, 0.8))] == [True, False]
