"""Control charts against published figures (sources beside each in spc_reference.json), and run lengths by simulation."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipelines.watch import charts

SAID: dict[str, Any] = json.loads((Path(__file__).parent / "spc_reference.json").read_text(encoding="utf-8"))
RUNS, SIGMAS = 4000, 3.0


def test_nist_ewma_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4: twenty values, weight 0.3; printed to two digits."""
    said = SAID["nist_ewma"]
    found = charts.ewma(np.array(said["x"]), said["lam"], said["target"])
    assert np.round(found, 2) == pytest.approx(said["ewma_2dp"], abs=0.0101)  # the handbook rounds each step
    reach = said["L"] * charts.ewma_sigma(said["sigma"], said["lam"])
    assert (said["target"] - reach, said["target"] + reach) == pytest.approx((said["lcl"], said["ucl"]), abs=1e-3)
    signals = charts.ewma_signals(np.array(said["x"]), said["target"], said["sigma"], said["lam"], said["L"])
    assert list(np.flatnonzero(signals)) == said["signals"]


def test_ewma_vector_with_growing_limits() -> None:
    said = SAID["run_rule_vectors"]["ewma"]
    assert charts.ewma(np.array(said["x"], float), said["lam"], said["center"])[1:] == pytest.approx(said["ewma"])
    assert [charts.ewma_sigma(said["sd"], said["lam"], k) for k in (1, 2, 3)] == pytest.approx(said["sigma"])


def test_nist_individuals_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2, flow rates."""
    said = SAID["individuals_mr"]
    assert charts.individuals_limits(np.array(said["x"])) == pytest.approx((said["lcl"], said["mean"], said["ucl"]), abs=1e-3)


def test_tabular_cusum_example() -> None:
    """Montgomery and Runger, example 16-6."""
    said = SAID["cusum_tabular"]
    high, low = charts.cusum(np.array(said["x"]), said["target"], said["K"])
    assert high == pytest.approx(said["SH"])
    assert low == pytest.approx(said["SL"])
    assert not ((high > said["H"]) | (low > said["H"])).any()


def test_cusum_vector() -> None:
    said = SAID["run_rule_vectors"]["cusum"]
    high, low = charts.cusum(np.array(said["x"]), 0.0, said["k"])
    assert high == pytest.approx(said["pos"])
    assert -low == pytest.approx(said["neg"])
    assert [int(k) + 1 for k in np.flatnonzero(high > said["h"] + 1e-12)] == said["signal_upper"]
    assert [int(k) + 1 for k in np.flatnonzero(low > said["h"] + 1e-12)] == said["signal_lower"]


def run_lengths(shift: float, rho: float, h: float, *, whiten: bool, seed: int) -> np.ndarray:
    """First days on which a two-sided CUSUM (k 0.5) of standardised AR(1) residuals signals, many runs side by side."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal(RUNS)
    up, down, length = np.zeros(RUNS), np.zeros(RUNS), np.zeros(RUNS, dtype=int)
    alive, before = np.ones(RUNS, dtype=bool), x
    for day in range(1, 20_000):
        seen = x + shift
        if whiten and rho > 0:
            seen = (x - rho * before) / np.sqrt(1 - rho * rho) if day > 1 else x
        up, down = np.maximum(0, seen - 0.5 + up), np.maximum(0, -seen - 0.5 + down)
        length[alive] = day
        alive &= ~((up > h) | (down > h))
        if not alive.any():
            break
        before, x = x, rho * x + np.sqrt(1 - rho * rho) * rng.standard_normal(RUNS)
    return length


@pytest.mark.parametrize(("shift", "said"), list(zip(SAID["arl"]["mu"], SAID["arl"]["cusum_two_sided_published"], strict=True)))
def test_average_run_length_of_the_cusum(shift: float, said: float) -> None:
    """Lucas and Crosier 1982, table 1: k 0.5, h 4, two-sided. Within three standard errors and half a unit of the printed last digit."""
    found = run_lengths(shift, 0.0, 4.0, whiten=False, seed=5)
    error = SIGMAS * found.std() / np.sqrt(RUNS) + 0.5 * 10.0 ** (0 if said >= 100 else -1 if said >= 10 else -2)
    assert abs(found.mean() - said) <= error


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.5, 0.7])
def test_whitening_keeps_the_interval_of_false_flags(rho: float) -> None:
    """H 5: 465 days between false flags for independent residuals; whitened AR(1) residuals reach the same, whatever rho.

    Without whitening the interval falls to about 99, 51 and 34 days at rho 0.3, 0.5, 0.7 (simulation of the trade notes, from memory).
    """
    found = run_lengths(0.0, rho, 5.0, whiten=True, seed=11)
    assert abs(found.mean() - SAID["arl"]["cusum_h5_two_sided_arl0"]) <= SIGMAS * found.std() / np.sqrt(RUNS)
    if rho:
        plain = run_lengths(0.0, rho, 5.0, whiten=False, seed=11).mean()
        assert plain == pytest.approx({0.3: 99, 0.5: 51, 0.7: 34}[rho], rel=0.15)


def test_lag_one_and_whitening_recover_an_ar1() -> None:
    rng = np.random.default_rng(2)
    x = np.zeros(4000)
    for t in range(1, len(x)):
        x[t] = 0.6 * x[t - 1] + rng.standard_normal()
    rho = charts.lag_one(x)
    assert rho == pytest.approx(0.6, abs=0.04)
    residual = charts.whitened(x, float(x.mean()), rho)
    assert charts.lag_one(residual) == pytest.approx(0.0, abs=0.04)
    assert charts.robust_sigma(residual) == pytest.approx(1.0, abs=0.05)
