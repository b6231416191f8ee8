"""Kaplan-Meier means of results with non-detects, and t quantiles, against published figures and other implementations."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipelines.store import Store
from pipelines.store.sql_files import create_macros_and_views
from schemas import TABLES

HERE = Path(__file__).parent
DAY = date(2026, 1, 5)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store(tmp_path_factory.mktemp("nondetects") / "p.duckdb", "p") as made:
        create_macros_and_views(made.con)
        made.con.execute(
            "INSERT INTO line_settings BY NAME SELECT 'p' AS plant, 'a' AS line, '-' AS plant_name, '-' AS line_name, 'UTC' AS time_zone, "
            "0 AS operating_day_start_h, 1 AS week_start, 'SI' AS units, '-' AS currency, 'belt press' AS device, 'rotodynamic' AS pump_kind, "
            "0 AS startup_min, 0 AS feed_cutoff_m3_h, 0 AS polymer_cutoff_m3_h, 1 AS sludge_sg, 'neat' AS polymer_meter, 0 AS reference_flow_m3_h, "
            "0 AS pump_elevation_m, 0 AS mixing_elevation_m, 36 AS solids_hold_tau_h, 72 AS solids_hold_limit_h, 'none' AS dilution_counted"
        )
        yield made


def summary(store: Store, x: np.ndarray[Any, Any], is_below: np.ndarray[Any, Any]) -> tuple[Any, ...]:
    """Put results into one week and return what the view says of it: at zero, at the limit, Kaplan-Meier."""
    schema = TABLES["lab_results"].polars_schema()
    rows = [
        {
            "plant": "p", "sample_id": f"{i}", "analyte": "tss", "line": "a", "point": "filtrate", "time_basis": "day", "operating_day": DAY,
            "value": v / 2 if b else v, "detection_limit": v if b else None, "value_at_zero": 0.0 if b else None, "value_at_limit": v if b else None,
            "unit": "mg/L", "is_used": True, "replicates": 1, "revision": 1, "load_id": "l", "line_no": 1,
        }
        for i, (v, b) in enumerate(zip(x.tolist(), is_below.tolist(), strict=True))
    ]  # fmt: skip
    made = pl.DataFrame(rows, schema=schema).with_columns(
        pl.lit(0).cast(schema[c]).alias(c) for c in ("from_utc", "to_utc", "reported_utc")
    )
    store.con.execute("DELETE FROM lab_results")
    store.append("lab_results", made)
    return store.rows("SELECT mean_at_zero, mean_at_limit, mean_kaplan_meier, non_detects FROM lab_nondetects WHERE period_kind = 'week'")[
        0
    ]


def test_arsenic_of_oahu(store: Store) -> None:
    lines = (HERE / "nondetects.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    x, is_below = np.array([float(r["result"]) for r in rows]), np.array([r["is_below"] == "true" for r in rows])
    at_zero, at_limit, kaplan_meier, non_detects = summary(store, x, is_below)
    assert (len(rows), non_detects) == (24, 13)
    assert round(kaplan_meier, 3) == 0.949
    assert at_zero < kaplan_meier < at_limit


@pytest.mark.parametrize("seed", range(12))
def test_kaplan_meier_by_another_implementation(store: Store, seed: int) -> None:
    """The package lifelines fits right-censored data: turned round at a constant above all, what is below a limit is censored on the right."""
    from lifelines import KaplanMeierFitter
    from lifelines.utils import restricted_mean_survival_time

    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 40))
    truth = np.round(rng.lognormal(3.0, 1.0, n), int(rng.integers(0, 2))) + 1.0  # rounded: ties among results and limits
    limits = rng.choice([5.0, 10.0, 25.0, 40.0], n)
    is_below = truth < limits
    is_below[0] = False
    x = np.where(is_below, limits, truth)
    turned = x.max() + 1.0 - x
    fitted = KaplanMeierFitter().fit(turned, event_observed=~is_below)
    expected = x.max() + 1.0 - restricted_mean_survival_time(fitted, t=turned.max())
    assert summary(store, x, is_below)[2] == pytest.approx(expected, rel=1e-9)


def test_without_non_detects_it_is_the_mean(store: Store) -> None:
    x = np.random.default_rng(5).lognormal(3.0, 1.0, 30)
    assert summary(store, x, np.zeros(30, dtype=bool))[:3] == (pytest.approx(x.mean()), pytest.approx(x.mean()), pytest.approx(x.mean()))


def test_t_quantiles(store: Store) -> None:
    degrees = [*range(1, 200), 500, 5000]
    found = store.rows("SELECT t_975(d) FROM (SELECT unnest($d) AS d) ORDER BY d", {"d": degrees})
    assert np.abs(np.array([f for (f,) in found]) - stats.t.ppf(0.975, degrees)).max() < 2e-4


def test_manganese_of_five_wells(store: Store) -> None:
    """Source: US EPA, Statistical Analysis of Groundwater Monitoring Data at RCRA Facilities, Unified Guidance (EPA 530/R-09-007, 2009),
    example 15-1: manganese [ppb] of five wells, six of 25 results below 2 or 5. The data also come with the R package EnvStats
    (EPA.09.Ex.15.1.manganese.df); the Kaplan-Meier mean printed in its help is 19.867. Data typed from memory of that table.
    """
    wells = (
        ("<5", "12.1", "16.9", "21.6", "<2"), ("<5", "7.7", "53.6", "9.5", "45.9"), ("<5", "5.3", "12.6", "106.3", "34.5"),
        ("6.3", "11.9", "10", "<2", "77.2"), ("17.9", "22.7", "3.3", "8.4", "<2"),
    )  # fmt: skip
    printed = [text for well in wells for text in well]
    x, is_below = np.array([float(t.strip("<")) for t in printed]), np.array([t.startswith("<") for t in printed])
    found = summary(store, x, is_below)
    assert (len(x), found[3]) == (25, 6)
    assert round(found[2], 3) == 19.867
