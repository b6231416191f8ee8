"""One small case a method, with the arithmetic in comments."""

from __future__ import annotations

from datetime import date
from itertools import product

import numpy as np
import pytest

from pipelines.compare import (
    before_after,
    control,
    designs,
    errors_in_x,
    gls,
    money,
    noninferiority,
    optimum,
    plan,
    randomisation,
    sequential,
    shear,
    wear,
)
from pipelines.compare.dose_curve import Curve
from pipelines.compare.outcomes import Estimate, judged, saving_pct
from tests.compare import worlds


def test_ordinary_least_squares_of_five_days() -> None:
    # before 10, 12, 11; after 8, 9: means 11 and 8.5, step -2.5
    # residuals -1, 1, 0, -0.5, 0.5: squares 2.5; 3 degrees of freedom: s2 = 0.8333
    # var(step) = s2 (1/3 + 1/2) = 0.6944: se 0.8333
    x = np.column_stack([np.ones(5), [0, 0, 0, 1, 1]]).astype(float)
    beta, se, rss = gls.ordinary(x, np.array([10.0, 12, 11, 8, 9]))
    assert beta == pytest.approx([11.0, -2.5])
    assert rss == pytest.approx(2.5)
    assert se[1] == pytest.approx(0.83333, abs=1e-5)


def test_white_errors_give_student_t() -> None:
    # Only white errors allowed: estimate -2.5, half = t(0.975, 3) x 0.8333 = 3.1824 x 0.8333 = 2.6520
    x = np.column_stack([np.ones(5), [0, 0, 0, 1, 1]]).astype(float)
    grid = gls.Grid(np.arange(5.0), x, rhos=(0.0,), shares=(1.0,))
    mean, low, high = grid.intervals(np.array([[10.0], [12], [11], [8], [9]]), 1)
    assert (mean[0], low[0], high[0]) == pytest.approx((-2.5, -5.1520, 0.1520), abs=1e-3)


def test_sign_flips_of_five_pairs() -> None:
    # differences 1, 2, 3, 4, 5: sum 15 is the largest of 2^5 = 32 sign patterns, -15 the other: p = 2/32
    y = np.column_stack([np.zeros(5), [1.0, 2, 3, 4, 5]]).ravel()
    sets, arms = np.repeat(np.arange(5), 2), np.tile([0, 1], 5).astype(np.int8)
    orders = randomisation.orders_of_sets(sets, arms)
    assert len(orders) == 32
    assert randomisation.p_value(y, orders, sets) == pytest.approx(2 / 32)
    # 2/32 > 5 %: nothing can be rejected, the interval has no ends
    found = randomisation.infer(y, orders, sets)
    assert (found.estimate, found.low, found.high) == (3.0, -np.inf, np.inf)
    # at 90 %: the ends are where flipping the least difference turns the sum over: tau = 1 below, tau = 5 above
    narrow = randomisation.infer(y, orders, sets, level=0.90)
    assert (narrow.low, narrow.high) == pytest.approx((1.0, 5.0), abs=1e-6)


def test_carry_over_is_seen_in_the_lagged_arm() -> None:
    # 16 units, new arm leaves +1 behind in the next unit: the lagged arm explains all
    arms = np.array([0, 1, 1, 0, 0, 1, 0, 1, 1, 0, 1, 0, 0, 1, 1, 0], dtype=np.int8)
    sets = np.repeat(np.arange(8), 2)
    y = 2.0 * arms + np.concatenate([[0.0], arms[:-1]])
    orders = randomisation.orders_of_sets(sets, arms)
    assert randomisation.carry_over_p(y, orders, 2.0) < 0.05
    assert randomisation.carry_over_p(2.0 * arms + np.tile([0.1, -0.1], 8), orders, 2.0) > 0.05


def test_sham_factor_is_a_conformal_rank() -> None:
    # 20 shams: rank ceil(0.95 x 21) = 20, the largest; 39 shams: rank ceil(0.95 x 40) = 38
    assert before_after.sham_factor(np.arange(1, 21) / 10.0) == pytest.approx(2.0)
    assert before_after.sham_factor(np.arange(1, 40) / 10.0) == pytest.approx(3.8)
    assert before_after.sham_factor(np.full(25, 0.3)) == 1.0
    assert before_after.sham_factor(np.ones(19)) is None


def test_control_takes_the_shared_move_off() -> None:
    # both lines fall by 1 at the switch, line A by 2 more: difference -2, control -1, raw -3
    rng = np.random.default_rng(0)
    after = np.repeat([0.0, 1.0], 10)
    shared = rng.standard_normal(20)
    found = control.step(
        np.arange(20.0), shared - 3 * after + 0.01 * rng.standard_normal(20), shared - after + 0.01 * rng.standard_normal(20), after
    )
    assert found.difference.estimate == pytest.approx(-2.0, abs=0.05)
    assert found.correlation > 0.95
    assert found.control.estimate - found.raw.estimate == pytest.approx(2.0, abs=0.3)


def test_errors_in_feed_ts_of_five_days() -> None:
    # x = -2..2 (mean 0), y = -x: S_xx = 10/4 = 2.5, S_xy = -2.5; var_u = 0.5
    # as measured -1; corrected (-2.5 + 0.5) / (2.5 - 0.5) = -1: an error of TS alone looks just like a slope of -1
    x = np.arange(-2.0, 3.0)
    assert errors_in_x.slope(x, -x, 0.5) == pytest.approx((-1.0, -1.0))
    # y = 0.2 x: (0.5 + 0.5) / 2 = 0.5
    assert errors_in_x.slope(x, 0.2 * x, 0.5) == pytest.approx((0.2, 0.5))
    with pytest.raises(ValueError, match="hardly more"):
        errors_in_x.slope(x, x, 1.3)


@pytest.mark.parametrize(
    ("low", "high", "passed", "worse"),
    [(-0.49, 0.3, True, False), (-0.5, 0.3, False, False), (-0.51, -0.01, False, True), (-0.4, -0.1, True, True)],
)
def test_gate_on_both_sides_of_its_edge(low: float, high: float, passed: bool, worse: bool) -> None:
    gate = noninferiority.not_lower("cake", (low + high) / 2, low, high, 0.5, "% TS")
    assert (gate.is_passed, gate.is_worse) == (passed, worse)


def test_break_even_wetness_of_the_trade_table() -> None:
    # 22 % cake, 95 % capture, $60 a wet ton, $6.40/dt saved: wet cake 95/22 = 4.3182 t/t; + 6.40/60 = 4.4248; 95/4.4248 = 21.470: 0.53 point
    assert noninferiority.break_even_wetness_pct(22.0, 95.0, 6.40, 60.0) == pytest.approx(0.53, abs=0.005)
    # 18 %, $4.48: 95/18 = 5.2778 + 0.0747 = 5.3524; 95/5.3524 = 17.749: 0.25
    assert noninferiority.break_even_wetness_pct(18.0, 95.0, 4.48, 60.0) == pytest.approx(0.25, abs=0.005)
    assert noninferiority.cake_margin_pct(0.29) is None
    assert noninferiority.cake_margin_pct(0.3) == 0.3
    assert noninferiority.cake_margin_pct(0.8) == 0.5


def test_money_at_one_point_an_arm() -> None:
    # per short ton: 20 -> 14.3 lb at $1.60 = 9.12; haul 60 x 95 x (1/22.0 - 1/22.8) = 9.09 (trade arithmetic); in kg and tonnes it is the same per ton
    prices = money.Prices(polymer_per_kg=1.6, disposal_per_wet_t=60.0)
    saved = money.saving_per_t(money.Point(20.0, 22.0, 95.0), money.Point(14.3, 22.8, 95.0), prices)
    assert saved["polymer"] == pytest.approx(9.12)
    assert saved["haul and disposal"] == pytest.approx(9.09, abs=0.005)
    assert saved["in all"] == pytest.approx(18.21, abs=0.01)


def test_use_and_price_add_up() -> None:
    # d 20 -> 15 at p 1.6 -> 2.0: use 5 x 1.6 = 8.0, price 15 x (1.6 - 2.0) = -6.0, together 20 x 1.6 - 15 x 2.0 = 2.0
    assert money.use_and_price(20.0, 15.0, 1.6, 2.0) == pytest.approx((8.0, -6.0))


def test_annual_range_and_payback() -> None:
    # 10 (6 to 14) per t on 1,000 to 2,000 t: 15,000 typical at 1,500; low 6 x 1000, high 14 x 2000; less 1,000
    yearly = money.annual((10.0, 6.0, 14.0), (1000.0, 1500.0, 2000.0), 1000.0)
    assert yearly == (14000.0, 5000.0, 27000.0)
    assert money.payback_years((54000.0, 100000.0), yearly) == pytest.approx((2.0, 20.0))
    # a saving that may be none: the worst corner is -2 x 2000, payback has no end
    worse = money.annual((3.0, -2.0, 8.0), (1000.0, 1500.0, 2000.0), 0.0)
    assert worse[1] == -4000.0
    assert money.payback_years((10.0, 20.0), worse)[1] == np.inf


def test_optimum_of_a_curve_without_slope_is_its_lowest_dose() -> None:
    flat = Curve(np.array([22.0, -20.0, 0.7, -3.5, -20.0, 1.3, 0.0, 0.0, -20.0, 0.4, 0.0]), 0.5, 0.2, 10.0)
    assert optimum.best_dose(flat, 0.0, (5.0, 15.0), money.Prices(3.0, 60.0)) == pytest.approx(5.0)
    assert optimum.overfeed_margin_pct(12.0, 10.0) == pytest.approx(20.0)


def test_shear_of_the_trade_example() -> None:
    # e_m 3, e_b 575: optimum 3 ln(1 + 575/3) = 15.78 kJ/m3
    assert shear.optimum_energy(3.0, 575.0) == pytest.approx(15.8, abs=0.05)
    # kappa 0.012 per psi = 0.00174 per kPa: at 30 psi (206.8 kPa) 1 - exp(-0.36) = 30 %
    kappa = 0.012 / 6.894757
    energy = np.tile([14.0, 70.0, 140.0, 207.0], 6)
    sets = np.repeat(np.arange(6), 4)
    day = np.repeat(np.random.default_rng(1).standard_normal(6), 4)
    found = shear.log_linear(
        energy, day + kappa * energy + 0.01 * np.random.default_rng(2).standard_normal(24), None, sets, is_randomised=True
    )
    assert found.refusal is None
    assert found.low < kappa < found.high
    assert found.loss_share(206.8) == pytest.approx(0.30, abs=0.02)
    # a U-shape is found again, and the share of the arm's effect it explains: kappa (207 - 14) / 0.3352
    made = -np.log(-np.expm1(-energy / 20.0)) + energy / 900.0
    bent = shear.u_shape(energy, made)
    assert bent is not None
    assert bent[2] == pytest.approx(shear.optimum_energy(20.0, 900.0), rel=0.1)
    assert shear.mediated_share(kappa, 206.84, 13.79, 0.336) == pytest.approx(1.0, abs=0.01)


def test_valve_steps_find_the_loss_beside_the_arm() -> None:
    # kappa 0.00174 per kPa (0.012 per psi), the arm itself saves exp(-0.2): both are in the steps, and told apart
    steps, energy = worlds.valve_steps(np.random.default_rng(11), 8, 0.00174, 0.2)
    found = shear.of_steps(steps, energy)
    assert found.refusal is None
    assert found.kappa is not None
    assert found.kappa.low < 0.00174 < found.kappa.high
    assert found.inflation < 2.0
    # energy has the same mean in both arms, so it explains little of the arm's effect
    assert found.mediated_share is not None
    assert abs(found.mediated_share) < 0.5


def test_energy_that_changes_with_the_arm_only_gives_a_bound_and_no_number() -> None:
    # all of ln saving 0.00174 x 193 = 0.336 put down to energy: the bound is 0.00174 again
    steps, energy = worlds.valve_steps(np.random.default_rng(12), 8, 0.00174, share_of_days=True)
    found = shear.of_steps(steps, energy)
    assert found.kappa is None
    assert "changes with the arm only" in (found.refusal or "")
    assert found.bound == pytest.approx(0.00174, rel=0.25)
    flat = shear.of_steps(steps, np.full(len(energy), 100.0) + np.arange(len(energy)) % 7)
    assert "spans 6" in (flat.refusal or "")


def test_passive_history_is_refused() -> None:
    rng = np.random.default_rng(3)
    flow = rng.standard_normal(200)
    energy = 200.0 + 12.0 * flow + 2.0 * rng.standard_normal(200)
    found = shear.log_linear(energy, 0.1 * rng.standard_normal(200), flow[:, None], np.zeros(200), is_randomised=False)
    assert found.refusal is not None
    narrow = shear.log_linear(
        200.0 + rng.standard_normal(40), rng.standard_normal(40), None, np.repeat(np.arange(5), 8), is_randomised=True
    )
    assert "spans" in (narrow.refusal or "")


def test_wear_is_excluded_not_denied() -> None:
    years = np.arange(104) * 7 / 365.25
    rng = np.random.default_rng(4)
    flat = wear.trend(years, 1.0 + 0.02 * rng.standard_normal(104), growth_is_loss=False)
    assert flat.low < 0.0 < flat.high
    assert "excluded" in flat.sentence
    worn = wear.trend(years, 1.0 - 0.08 * years + 0.01 * rng.standard_normal(104), growth_is_loss=False)
    assert worn.low > 0.0
    assert worn.low < 8.0 < worn.high
    # from 0.95 down to 0.90 at 2 to 10 % a year: half a year to 2.5 years
    assert wear.years_to_threshold(0.95, 0.90, wear.WearTrend(5.0, 2.0, 10.0, 60, 2.0, None)) == pytest.approx((0.5, 2.5))
    assert wear.trend(years[:11], np.ones(11), growth_is_loss=False).refusal is not None


def test_fair_bets_on_five_signs() -> None:
    # five differences of 1 against tau 0: z = 1 each. Stake k wins exp(k)/cosh(k) = 2p a set, p = exp(2k)/(exp(2k) + 1); on the other sign 2(1 - p):
    # Wald's sequential test of p against one half. k = 1: p = 0.880797, (2p)^5 = 16.964, (2 - 2p)^5 = 0.00077; k = 0.5: p = 0.731059, 6.6821 and 0.045026;
    # k = 2: p = 0.982014, 29.223 and 0.00000006: wealth (16.964 + 0.00077 + 6.6821 + 0.045026 + 29.223 + 0) / 6 = 8.8192
    wealth = np.exp(sequential.log_wealth(np.ones(5), np.array([0.0])))[:, 0]
    assert wealth[-1] == pytest.approx(8.8192, abs=5e-4)
    # against tau = 1 nothing is left to bet on: wealth stays 1
    assert np.exp(sequential.log_wealth(np.ones(5), np.array([1.0])))[-1, 0] == pytest.approx(1.0)
    assert sequential.interval(np.arange(1.0, 6.0)) == (3.0, -np.inf, np.inf)


def test_fair_bets_are_fair_over_every_order() -> None:
    # 2^10 sign patterns of ten differences of unlike size are equally likely under the draw: mean wealth 1 at any time, 1/alpha met in at most alpha of them
    sizes = np.array([0.2, 3.0, 1.0, 0.5, 2.0, 0.1, 1.5, 0.7, 4.0, 1.1])
    signs = np.array(list(product((-1.0, 1.0), repeat=10)))
    paths = np.stack([np.exp(sequential.log_wealth(row * sizes, np.array([0.0]))[:, 0]) for row in signs])
    assert paths.mean(0) == pytest.approx(np.ones(10), abs=1e-9)
    assert (paths.max(1) >= 20.0).mean() <= 0.05
    assert (paths.max(1) >= 4.0).mean() <= 0.25


def test_verdicts() -> None:
    def of(low: float, high: float, *caps: str) -> str:
        return judged("x", Estimate((low + high) / 2, low, high, "%", 95.0, "m", 1, 1), caps).verdict

    assert [of(1, 5), of(-1, 5), of(-5, -1), of(1, 5, "cap"), of(-5, -1, "cap"), of(0, 5)] == [
        "shown", "not shown", "worse", "not shown", "worse", "not shown",
    ]  # fmt: skip
    assert saving_pct(np.log(0.715)) == pytest.approx(28.5)


def test_the_draw_is_the_seeds() -> None:
    head = plan.Head(
        plant="p", line="l", question="q", design="paired days", arm_from="a", arm_to="b", first_day=date(2026, 3, 2), last_day=date(2026, 5, 1),
        outcomes=("iso-performance saving",),
    )  # fmt: skip
    draw = plan.Draw(is_drawn=True, seed=3, sets=8)
    sets = designs.drawn_sets(head, draw)
    assert sets == designs.drawn_sets(head, draw)
    assert len({s.blocks[0].arm for s in sets}) == 2  # both orders come
    assert sets[1].blocks[0].first == date(2026, 3, 4)
    assert designs.set_of(sets, date(2026, 3, 5)) == (2, sets[1].blocks[1].arm)
