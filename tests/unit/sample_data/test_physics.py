"""Process equations of the invented plants against hand calculations; the numbers are the scenario's own assumptions."""

from __future__ import annotations

import numpy as np
import pytest

from sample_data import physics as ph
from sample_data.scenario import PLANTS, potency_shift


def one(value: float) -> np.ndarray:
    return np.array([value])


@pytest.mark.parametrize("u, cake", [(1.0, 22.03), (0.7, 20.74), (1.3, 22.72)])
def test_cake_of_the_scenario(u: float, cake: float) -> None:
    # u = 1: 23.5 - 12 exp(-2.1) = 23.5 - 12 x 0.12246 = 22.03; u = 0.7: 12 x 0.22993 = 2.759; u = 1.3: 12 x 0.06522 = 0.783
    assert ph.cake_pct(one(u), one(64.0), one(1.0), 0.0)[0] == pytest.approx(cake, abs=0.006)


def test_cake_falls_with_volatile_solids_load_and_gross_overdosing_and_rises_with_the_gain() -> None:
    base = ph.cake_pct(one(1.6), one(64.0), one(1.0), 0.0)[0]
    assert ph.cake_pct(one(1.6), one(66.0), one(1.0), 0.0)[0] == pytest.approx(base - 0.1)
    assert ph.cake_pct(one(1.6), one(64.0), one(1.25), 0.0)[0] == pytest.approx(base - 0.2)
    assert ph.cake_pct(one(1.6), one(64.0), one(1.0), 0.8)[0] == pytest.approx(base + 0.8)
    # beyond u = 1.5 the plateau bends down: 12 exp(-3.36) = 0.4168, 2 x 0.1^2 = 0.02
    assert base == pytest.approx(23.5 - 0.4168 - 0.02, abs=1e-3)


@pytest.mark.parametrize("u, capture", [(1.0, 93.7), (1.2, 95.4), (0.7, 87.3)])
def test_capture_of_the_scenario(u: float, capture: float) -> None:
    # u = 1: 0.03 + 1.2 exp(-3.6) = 0.03 + 1.2 x 0.02732 = 0.0628 -> 93.7 %
    assert 100 * (1 - ph.loss_share(one(u), one(1.0))[0]) == pytest.approx(capture, abs=0.05)


@pytest.mark.parametrize("w, capture", [(0.0, 0.964), (0.6, 0.940), (1.0, 0.924)])
def test_filtrate_is_the_inverse_of_the_capture_formula(w: float, capture: float) -> None:
    """TS 2.5 %, C 22 %, X 0.10 %: R = [1 - X/TS (1 + w)] / [1 - X/C]: 96.4 % undiluted, 94.0 % at 0.6, 92.4 % at 1.0."""
    assert ph.filtrate_pct(one(capture), one(2.5), one(22.0), one(w))[0] == pytest.approx(0.10, abs=0.002)


@pytest.mark.parametrize("valve_psi, head_ft, ratio, kw", [(30.0, 107.2, 1.052, 14.7), (2.0, 42.7, 0.754, 5.9)])
def test_rotodynamic_pump_at_400_gpm(valve_psi: float, head_ft: float, ratio: float, kw: float) -> None:
    """15 + 1.44e-4 x 160000 + 2.307 x 30 = 15 + 23.04 + 69.21 = 107.25 ft; n = sqrt((107.25 + 25.6)/120) = 1.052.

    Shaft: 400 x 107.25 / 3960 / 0.55 = 19.70 hp = 14.69 kW.
    """
    head = ph.system_head_ft(one(400.0), one(valve_psi))
    assert head[0] == pytest.approx(head_ft, abs=0.1)
    assert ph.rotodynamic_speed_ratio(one(400.0), head, 0.0)[0] == pytest.approx(ratio, abs=0.001)
    assert ph.shaft_kw(one(400.0), head, 0.55)[0] == pytest.approx(kw, abs=0.06)


def test_worn_pump_turns_faster_for_the_same_head() -> None:
    new, worn = (ph.rotodynamic_speed_ratio(one(400.0), one(107.0), wear)[0] for wear in (0.0, 0.02))
    assert worn / new == pytest.approx(0.98**-0.5)


@pytest.mark.parametrize("cv, psi", [(73.0, 30.0), (280.0, 2.04)])
def test_valve_at_400_gpm(cv: float, psi: float) -> None:
    # (400/73)^2 = 30.02; (400/280)^2 = 2.04
    assert ph.valve_kpa(one(400.0 * ph.GPM_M3_H), cv)[0] / ph.PSI_KPA == pytest.approx(psi, abs=0.03)


def test_velocity_head() -> None:
    # 400 gpm = 0.8912 ft3/s through 0.19635 ft2 (6 in): 4.539 ft/s; squared / (2 x 32.174) = 0.3202 ft
    assert ph.velocity_head_ft(one(400.0), 6.0)[0] == pytest.approx(0.3202, abs=2e-4)


@pytest.mark.parametrize(
    "plant, line, shift",
    [("alder-fork", 0, 0.285), ("alder-fork", 1, 0.0), ("sorrel-draw", 0, 0.203), ("brenholm", 0, -0.0417)],
)
def test_true_potency_shifts(plant: str, line: int, shift: float) -> None:
    """1 - exp(-0.012 x 28) = 28.5 %; 1 - exp(-0.011 x 20.6) = 20.3 %; 1 - 1/0.96 = -4.2 %: the third plant gets worse."""
    made = PLANTS[plant]
    assert potency_shift(made, made.lines[line]) == pytest.approx(shift, abs=0.001)


def test_walk_has_its_sd_and_time_constant_across_blocks() -> None:
    path = ph.wander(np.random.default_rng(4), 400_000, 0.5, 60.0, quiet=False)
    assert path.std() == pytest.approx(0.5, rel=0.05)
    assert np.corrcoef(path[60:], path[:-60])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.03)
    assert np.abs(np.diff(path)).max() < 6 * 0.5 * np.sqrt(1 - np.exp(-2 / 60.0))  # no jump where blocks meet
    assert not ph.wander(np.random.default_rng(4), 10, 0.5, 60.0, quiet=True).any()


def test_walk_is_the_plain_recursion() -> None:
    n, sd, tau = 3000, 0.3, 45.0
    rng = np.random.default_rng(9)
    rho = np.exp(-1 / tau)
    shocks = rng.standard_normal(n) * sd * np.sqrt(1 - rho**2)
    level, expected = rng.standard_normal() * sd, []
    for shock in shocks:
        level = rho * level + shock
        expected.append(level)
    np.testing.assert_allclose(ph.wander(np.random.default_rng(9), n, sd, tau, quiet=False), expected, rtol=0, atol=1e-8)
