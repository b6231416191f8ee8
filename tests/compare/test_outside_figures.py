"""The statistics of comparisons held against published figures and kept libraries."""

from __future__ import annotations

import json
from datetime import date
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipelines.compare import before_after, cosines, gls, noninferiority, randomisation, sequential

STRD = json.loads((Path(__file__).parent / "nist_strd.json").read_text(encoding="utf-8"))["linear"]
# Certified digits that double precision with QR and refinement must reach; Filip is the hardest of the set (condition about 1e10), and the
# residuals of Wampler 4 and 5 are large beside the fit.
DIGITS = {"Filip": 7.0, "Wampler4": 7.5, "Wampler5": 5.5}


def design(name: str, x: np.ndarray) -> np.ndarray:
    if x.ndim == 2:
        return np.column_stack([np.ones(len(x)), x])
    if name.startswith("NoInt"):
        return x[:, None]
    order = len(STRD[name]["certified_coef"])
    return np.column_stack([x**k for k in range(order)])


@pytest.mark.parametrize("name", sorted(STRD))
def test_nist_reference_regressions(name: str) -> None:
    """NIST/ITL StRD, linear regression: certified coefficients and standard deviations."""
    given = STRD[name]
    x = design(name, np.array(given["x"], dtype=float))
    beta, sd, _ = gls.ordinary(x, np.array(given["y"], dtype=float))
    certified = np.array(given["certified_coef"])
    with np.errstate(divide="ignore"):
        digits = -np.log10(np.abs(beta - certified) / np.abs(certified))
    assert digits.min() >= DIGITS.get(name, 9.0)
    spread = np.array(given["certified_sd"])
    if (spread > 0).all():  # Wampler1 and 2 fit exactly
        assert sd == pytest.approx(spread, rel=10 ** -DIGITS.get(name, 8.0))


def nile() -> np.ndarray:
    import statsmodels.datasets.nile as data

    return data.load_pandas().data["volume"].to_numpy(dtype=float)


def test_newey_west_on_the_nile() -> None:
    """Step of 1899 in the flow of the Nile: coefficients and Newey-West errors as R's sandwich 3.0-2 and statsmodels print them."""
    import statsmodels.api as sm

    y = nile()
    x = np.column_stack([np.ones(100), np.arange(1871, 1971) >= 1899]).astype(float)
    beta, _, _ = gls.ordinary(x, y)
    assert beta == pytest.approx([1097.75, -247.77777778], abs=1e-7)
    for lag, printed in ((0, 28.99734869), (4, 31.33944872), (7, 30.29118247)):
        fit = sm.OLS(y, x).fit(cov_type="HAC", cov_kwds={"maxlags": lag, "use_correction": False})
        assert fit.bse[1] == pytest.approx(printed, rel=1e-8)
    # Ours are for the same step; they allow for what Newey-West with few lags misses, so they are wider, by less than half as much again.
    for low, high in ((gls.Grid(np.arange(100.0), x).fit(y, 1).low, gls.Grid(np.arange(100.0), x).fit(y, 1).high),):
        assert 1.0 < (high - low) / (2 * 1.96 * 31.34) < 1.6
    _, low, high = cosines.intervals(x, y[:, None], 1)
    assert 0.7 < (high[0] - low[0]) / (2 * 1.96 * 31.34) < 1.6


def test_known_covariance_is_generalised_least_squares() -> None:
    """With one pair of the grid alone, estimate and interval are those of statsmodels' GLS with that covariance."""
    import statsmodels.api as sm

    y = nile()
    x = np.column_stack([np.ones(100), np.arange(100) >= 28]).astype(float)
    gaps = np.abs(np.subtract.outer(np.arange(100.0), np.arange(100.0)))
    v = 0.7 * 0.6**gaps + 0.3 * np.eye(100)
    ours = gls.Grid(np.arange(100.0), x)
    ours.pairs = [(0.6, 0.7)]
    single = gls.Grid(np.arange(100.0), x, rhos=(0.6,), shares=(0.7,))
    k = single.pairs.index((0.6, 0.7))
    beta, rss, _ = single.betas(y[:, None])
    fit = sm.GLS(y, x, sigma=v).fit()
    assert beta[k, :, 0] == pytest.approx(fit.params, rel=1e-9)
    assert rss[k, 0] / 98 == pytest.approx(fit.scale, rel=1e-9)


def test_restricted_likelihood_is_that_of_the_definition() -> None:
    """-0.5 (ln|V| + ln|X'V^-1 X| + (n - p) ln rss): differences between two pairs, by dense algebra (Patterson and Thompson 1971)."""
    y, times = nile()[:40], np.arange(40.0)
    x = np.column_stack([np.ones(40), np.arange(40) >= 20]).astype(float)
    grid = gls.Grid(times, x)
    _, _, ours = grid.betas(y[:, None])

    def dense(rho: float, share: float) -> float:
        v = share * rho ** np.abs(np.subtract.outer(times, times)) + (1 - share) * np.eye(40)
        vi = np.linalg.inv(v)
        b = np.linalg.solve(x.T @ vi @ x, x.T @ vi @ y)
        rss = (y - x @ b) @ vi @ (y - x @ b)
        return -0.5 * (np.linalg.slogdet(v)[1] + np.linalg.slogdet(x.T @ vi @ x)[1] + 38 * np.log(rss))

    one, other = grid.pairs.index((0.6, 0.7)), grid.pairs.index((0.88, 0.4))
    assert ours[one, 0] - ours[other, 0] == pytest.approx(dense(0.6, 0.7) - dense(0.88, 0.4), rel=1e-8)


def test_block_bootstrap_of_the_mean_of_the_nile() -> None:
    """Moving blocks of 5 years: 26.87 of arch, 26.74 of R boot::tsboot; ours from the same years lies in the same place (cosines, mean alone)."""
    from arch.bootstrap import MovingBlockBootstrap

    y = nile()
    boot = MovingBlockBootstrap(5, y, seed=1)
    se = float(np.std(boot.apply(np.mean, 2000)))
    assert se == pytest.approx(26.87, rel=0.05)
    ones = np.ones((100, 1))
    _, low, high = cosines.intervals(ones, y[:, None], 0)
    ours = float((high - low)[0]) / 2 / stats.t.ppf(0.975, cosines.terms(100))
    assert 0.8 < ours / se < 2.2  # the step of 1898 is low frequency: few cosines see more of it than blocks of five years


DARWIN = np.array([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48], dtype=float)


def test_randomisation_test_of_darwins_maize() -> None:
    """Fisher 1935, The Design of Experiments, section 21: of 2^15 sign patterns 1,726 sum to as much either way, p = 5.267 % (from memory, enumerated here)."""
    total = sum(1 for signs in product((-1, 1), repeat=15) if abs(np.dot(signs, DARWIN)) >= DARWIN.sum())
    assert total == 1726
    y = np.column_stack([np.zeros(15), DARWIN]).ravel()
    sets, arms = np.repeat(np.arange(15), 2), np.tile([0, 1], 15).astype(np.int8)
    swaps = np.array(list(product((0, 1), repeat=15)), dtype=np.int8)
    orders = np.repeat(swaps, 2, axis=1) ^ arms[None, :]
    assert randomisation.p_value(y, orders, sets) == pytest.approx(1726 / 32768)


def test_randomisation_interval_holds_what_the_test_of_scipy_does_not_reject() -> None:
    """Ends of the inverted interval against scipy's permutation test of the same pairs, all sign flips."""
    d = DARWIN[:9]
    y = np.column_stack([np.zeros(9), d]).ravel()
    sets, arms = np.repeat(np.arange(9), 2), np.tile([0, 1], 9).astype(np.int8)
    found = randomisation.infer(y, randomisation.orders_of_sets(sets, arms), sets)

    def p_of(tau: float) -> float:
        done = stats.permutation_test((d - tau,), lambda x, axis: np.abs(np.mean(x, axis=axis)), permutation_type="samples", n_resamples=np.inf,
                                      vectorized=True, alternative="greater")  # fmt: skip
        return float(done.pvalue)

    for end, inward in ((found.low, 1.0), (found.high, -1.0)):
        assert p_of(end + 0.05 * inward) > 0.05
        assert p_of(end - 0.05 * inward) <= 0.05


def test_equivalence_example_of_a_book() -> None:
    """Pardo, Equivalence and Noninferiority Tests for Quality, Manufacturing and Test Engineers, test 2.4: n 25, mean 10, SD 2: 90 % interval 9.32 to 10.68."""
    half = stats.t.ppf(0.95, 24) * 2.0 / 5.0
    assert (10 - half, 10 + half) == pytest.approx((9.32, 10.68), abs=0.005)
    lower = noninferiority.not_lower("mean", 10.0 - 8.0, 10.0 - half - 8.0, 10.0 + half - 8.0, 0.0, "-")  # at least 8.0: passes
    assert lower.is_passed
    above = noninferiority.not_lower("mean", 9.5 - 10.0, 9.5 - 10.0 - half, 9.5 - 10.0 + half, 0.0, "-")  # at most 9.5: 10.68 is not below
    assert not above.is_passed


METERS = ("il-electricity-cdd-hdd", "il-electricity-cdd-only", "il-gas-hdd-only", "il-gas-intercept-only")


@pytest.mark.parametrize("meter", METERS)
def test_open_meters_built_with_ten_percent_less_use(meter: str) -> None:
    """Sample meters of the package eemeter 4.1.1 (Apache-2.0): use of each was cut by exactly 10 % after a switch; weekly means, degree days as covariates.

    The weeks of the switch are left out by the file. No interval may miss 10 %, and none may be wider than 15 points each way.
    """
    frame = pl.read_csv(Path(__file__).parents[1] / "published" / "open_meters.csv", try_parse_dates=True)
    is_after = (frame["week"] >= date(2017, 1, 4)).cast(pl.Float64).to_numpy()
    degree_days = np.log1p(frame.select("hdd", "cdd").to_numpy())
    times = np.array([d.toordinal() for d in frame["week"].to_list()], dtype=float) / 7.0
    found = before_after.step(times, np.log(frame[meter].to_numpy()), is_after, degree_days)
    low, high = (100.0 * (1.0 - np.exp(v)) for v in (found.high, found.low))
    assert low < 10.0 < high
    assert high - low < 30.0


def test_fair_bets_on_signs_are_likelihood_ratios_of_scipy() -> None:
    """Signs alone (all differences of one size): wealth is the mean of binomial likelihood ratios p against one half, p = 1 / (1 + exp(-2 k)) (Wald 1945)."""
    rng = np.random.default_rng(5)
    signs = rng.choice([-1.0, 1.0], 30, p=[0.25, 0.75])
    wealth = np.exp(sequential.log_wealth(signs, np.array([0.0])))[:, 0]
    for n in (1, 7, 30):
        ups = int((signs[:n] > 0).sum())
        chances = [1.0 / (1.0 + np.exp(-2.0 * sign * k)) for k in sequential.STAKES for sign in (1.0, -1.0)]
        ratios = [stats.binom.pmf(ups, n, p) / stats.binom.pmf(ups, n, 0.5) for p in chances]
        assert wealth[n - 1] == pytest.approx(np.mean(ratios), rel=1e-9)


def test_relative_potency_against_scipy() -> None:
    """The shift of two parallel curves by an independent least-squares fit of scipy, the same model, with wide priors taken as no priors."""
    from scipy.optimize import least_squares

    from pipelines.compare import dose_curve
    from tests.compare import worlds

    steps = worlds.ladder(np.random.default_rng(2), "within", 12, 0.3, 0.0)
    curve = dose_curve.fit(steps)
    known = np.log(1.0 - steps.capture / 100.0)
    x = steps.dose / curve.scale

    def gaps(p: Any) -> Any:
        u = x * np.exp(p[3] * steps.arm - p[4:][steps.sets])
        return np.concatenate(
            [known - np.log(np.exp(p[0]) + np.exp(p[1] - np.exp(p[2]) * u)), p[4:] / dose_curve.DEMAND_SD * curve.ln_loss_sd]
        )

    alone = dose_curve.fit(dose_curve.Steps(steps.dose, steps.arm, steps.sets, np.full(len(x), np.nan), steps.capture))
    found = least_squares(gaps, np.array([-3.5, 0.2, 1.2, 0.1, *np.zeros(12)])).x
    assert alone.parameters[dose_curve.THETA] == pytest.approx(found[3], abs=0.01)
