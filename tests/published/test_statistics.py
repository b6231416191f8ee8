"""Statistics that the SQL uses, against certified values, published formulas and other implementations."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import duckdb
import numpy as np
import pytest
from scipy import integrate, stats

from pipelines.store import connect
from pipelines.store.sql_files import create_macros

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def con() -> Iterator[duckdb.DuckDBPyConnection]:
    made = connect()
    create_macros(made)
    yield made
    made.close()


def digits(found: float, certified: float) -> float:
    """Return the log relative error: the number of correct significant digits."""
    return float("inf") if found == certified else -np.log10(abs(found - certified) / abs(certified))


def test_regression_of_norris(con: duckdb.DuckDBPyConnection) -> None:
    """Slope, intercept, R2 and the slope's standard error as `period_totals`, `pump_weeks` and `wear_slope` compute them.

    Source: NIST Statistical Reference Datasets, Norris (nist_norris.json), certified values.
    """
    norris = json.loads((HERE / "nist_norris.json").read_text(encoding="utf-8"))
    con.execute(
        "CREATE OR REPLACE TABLE norris AS SELECT unnest($x)::DOUBLE AS x, unnest($y)::DOUBLE AS y", {"x": norris["x"], "y": norris["y"]}
    )
    sql = """
        WITH fit AS (SELECT regr_intercept(y, x) AS b0, regr_slope(y, x) AS b1, regr_r2(y, x) AS r2, regr_sxx(y, x) AS sxx, count(*) AS n FROM norris),
        left_over AS (SELECT sum(pow(y - b0 - b1 * x, 2)) AS ss FROM norris, fit)
        SELECT b0, b1, r2, sqrt(ss / (n - 2) / sxx) FROM fit, left_over"""
    found = con.execute(sql).fetchall()[0]
    certified = [*norris["certified_coef"], norris["certified_r2"], norris["certified_sd"][1]]
    assert min(digits(f, c) for f, c in zip(found, certified, strict=True)) >= 10


@pytest.mark.parametrize("ratio", [0.01, 0.2, 1.0, 3.0, 10.0, 50.0])
def test_variance_of_a_mean_of_what_wanders(con: duckdb.DuckDBPyConnection, ratio: float) -> None:
    """The variance function of an exponentially correlated process.

    Source: E. Vanmarcke, Random Fields: Analysis and Synthesis, MIT Press 1983, section 5.1: Gamma(T) = (2/T) integral from 0 to T of
    (1 - s/T) rho(s) ds, with rho(s) = exp(-2 s/theta); theta = 2 tau is the scale of fluctuation, and Gamma(T) tends to theta/T. The
    integral is done numerically here, the macro has it in closed form.
    """
    tau = 36.0
    hours = ratio * tau
    expected = (
        2.0 / hours * integrate.quad(lambda s: (1.0 - s / hours) * np.exp(-s / tau), 0.0, hours, epsabs=1e-13, epsrel=1e-12, limit=200)[0]
    )
    found = con.execute("SELECT wander_of_mean($h, $tau)", {"h": hours, "tau": tau}).fetchall()[0][0]
    assert found == pytest.approx(expected, rel=1e-9)
    if ratio >= 50:
        assert found == pytest.approx(2.0 * tau / hours, rel=0.03)


@pytest.mark.parametrize("seed", range(5))
def test_robust_spread(con: duckdb.DuckDBPyConnection, seed: int) -> None:
    """1.4826 x median absolute deviation, as the dose's variability, against scipy's and the normal quantile it comes from."""
    x = np.random.default_rng(seed).lognormal(2.0, 0.1, 61 + seed)
    x[::9] *= 3.0
    found = con.execute("SELECT 1.4826 * mad(ln(v)) FROM (SELECT unnest($x) AS v)", {"x": x.tolist()}).fetchall()[0][0]
    assert found == pytest.approx(stats.median_abs_deviation(np.log(x), scale="normal"), rel=3e-5)
    assert pytest.approx(1.0 / stats.norm.ppf(0.75), rel=3e-5) == 1.4826
