"""The mixing curve: a known one is found again, a fault does not teach it, and the limit is met on both sides."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.plant.watch_settings import DEFAULTS
from pipelines.watch import curve
from pipelines.watch.curve import Curve, fitted, off_curve

RNG_SEED = 4
B0, K = 20.0, 0.025


def wide(points: int = 2000, noise: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(RNG_SEED)
    flow = rng.uniform(60, 100, points)
    return flow, B0 + K * flow**2 + rng.normal(0, noise, points)


def test_limit_is_five_psi() -> None:
    assert pytest.approx(5 * 6.894757, abs=0.05) == DEFAULTS.mixing_pressure_off


def test_known_curve_is_found_again() -> None:
    """Standard error of k at 2 kPa noise: 2 / (sd of Q2 (1860) x root 2000) = 2.4e-5, 0.1 %; five of them allowed."""
    found = fitted(*wide())
    assert found is not None
    assert found.method == "fit"
    assert found.k == pytest.approx(K, abs=1.2e-4)
    assert found.b0 == pytest.approx(B0, abs=1.0)


def test_exact_points_give_the_exact_curve() -> None:
    flow = np.linspace(60, 100, 500)
    found = fitted(flow, B0 + K * flow**2)
    assert found is not None
    assert (found.b0, found.k) == (pytest.approx(B0, rel=1e-9), pytest.approx(K, rel=1e-12))


def test_two_days_of_fourteen_throttled_by_twelve_psi_do_not_teach_the_curve() -> None:
    flow, dp = wide()
    dp[: len(dp) // 7] += 82.7
    found = fitted(flow, dp)
    assert found is not None
    assert float(found.at(np.array([80.0]))[0]) == pytest.approx(B0 + K * 6400, abs=1.0)


@pytest.mark.parametrize(("points", "there"), [(99, False), (100, True)])
def test_curve_needs_a_hundred_minutes(points: int, there: bool) -> None:
    flow = np.linspace(60, 100, points)
    assert (fitted(flow, K * flow**2) is not None) == there


def test_flow_that_hardly_varies_gives_a_scaled_curve() -> None:
    flow = np.linspace(88, 92, 500)
    found = fitted(flow, K * flow**2)
    assert found is not None
    assert (found.method, found.b0, found.k) == ("scaled", 0.0, pytest.approx(K))


def test_no_flow_no_curve() -> None:
    assert fitted(np.zeros(500), np.zeros(500)) is None


KNOWN = Curve(B0, K, 60.0, 100.0, 2000, "fit")
N = 240
FLOW = np.full(N, 80.0)
EXPECTED = B0 + K * 6400.0


def raised(by: float, minutes: int, start: int = 60) -> np.ndarray:
    dp = np.full(N, EXPECTED)
    dp[start : start + minutes] += by
    return dp


def found_in(dp: np.ndarray, *, above: bool = True, judged: np.ndarray | None = None, flow: np.ndarray = FLOW) -> list[tuple[int, int]]:
    everywhere = np.ones(N, dtype=bool)
    return [(e.start, e.end) for e in off_curve(flow, dp, everywhere if judged is None else judged, KNOWN, above=above)]


@pytest.mark.parametrize(
    ("by", "minutes", "found"),
    [
        (34.4, 60, []),
        (34.6, 60, [(60, 120)]),
        (34.6, DEFAULTS.mixing_pressure_min - 1, []),
        (34.6, DEFAULTS.mixing_pressure_min, [(60, 90)]),
    ],
)
def test_above_the_curve(by: float, minutes: int, found: list[tuple[int, int]]) -> None:
    assert found_in(raised(by, minutes)) == found
    assert found_in(raised(-by, minutes)) == []


@pytest.mark.parametrize(("by", "found"), [(-34.4, []), (-34.6, [(60, 120)])])
def test_below_the_curve(by: float, found: list[tuple[int, int]]) -> None:
    assert found_in(raised(by, 60), above=False) == found


@pytest.mark.parametrize(("later", "end"), [(24.1, 90), (24.2, 150)])
def test_open_episode_goes_on_down_to_seventy_percent(later: float, end: int) -> None:
    dp = raised(40.0, 30)
    dp[90:150] += later
    assert found_in(dp) == [(60, end)]


def test_minutes_not_judged_and_flows_never_seen_are_left_out() -> None:
    dp = raised(50.0, 60)
    assert found_in(dp, judged=np.zeros(N, dtype=bool)) == []
    assert found_in(dp + 10000.0, flow=np.full(N, 111.0)) == []
    assert found_in(dp + 10000.0, flow=np.full(N, 109.0)) != []


def test_evidence_names_the_numbers() -> None:
    (found,) = off_curve(FLOW, raised(50.0, 60), np.ones(N, dtype=bool), KNOWN, above=True)
    assert found.facts["residual_kpa"] == pytest.approx(50.0)
    assert found.facts["expected_kpa"] == pytest.approx(EXPECTED)
    assert found.facts["limit_kpa"] == DEFAULTS.mixing_pressure_off


def test_a_drop_that_falls_with_the_flow_is_no_curve() -> None:
    """Wide flows and a falling pressure drop: the fit through the points has a negative slope, the curve through the origin stands for it."""
    flow = np.linspace(60.0, 120.0, 400)
    found = curve.fitted(flow, 300.0 - 0.008 * flow**2)
    assert found is not None
    assert (found.method, found.b0) == ("scaled", 0.0)
    assert found.k > 0


def test_curve_does_not_learn_from_faulty_days() -> None:
    """Three days of seven 80 kPa too high at the usual flow (limit 0.7 x 34.5 = 24.1 kPa) are left out; 24 kPa are not."""
    flow = np.full(400, 90.0)
    usual, faulty, near = ((flow, np.full(400, 200.0 + more)) for more in (0.0, 80.0, 24.0))
    assert curve.alike([usual] * 3 + [faulty] * 3 + [near]) == [True] * 3 + [False] * 3 + [True]
    assert curve.alike([usual, faulty]) == [True, True]  # of two days nobody can tell the odd one
