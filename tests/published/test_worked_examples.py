"""Worked examples of others, each with its source beside it in worked_examples.csv, put through the macros and unit words.

No formula stands here: a row names macros, this file only fills in quantities and lets DuckDB compute.
Tolerance: 0.1 % where the printed answer is the exact one, otherwise half a unit in its last printed digit; a wider one gives its reason.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import duckdb
import pytest

from pipelines.base import units
from pipelines.store import connect
from pipelines.store.sql_files import create_macros
from schemas.roles import ROLES

LINES = (Path(__file__).parent / "worked_examples.csv").read_text(encoding="utf-8").splitlines()
ROWS = list(csv.DictReader(line for line in LINES if not line.startswith("#")))
CHECKS = [r for r in ROWS if r["kind"] == "check"]
ERRORS = [r for r in ROWS if r["kind"] == "published error"]
EXACT = 0.001  # relative; set by the constants that print (8.34 lb/gal, 2.31 ft/psi)
BEST = {
    "1.1c", "1.2a", "1.5b", "1.6", "2.2", "2.3a", "2.4", "2.7", "2.10a", "3.1", "3.3", "4.1a", "4.4b", "6.1c", "6.2a", "6.4", "6.6", "7.2", "7.7", "7.14",
    "8.3", "9.3", "10.1", "10.6c",
}  # fmt: skip
KNOWN_ERRORS = {"1.1b", "1.5a", "3.2", "3.3", "4.4b", "6.9", "7.16", "7.17", "7.20", "10.2"}  # 2.6c and 3.1 have tests of their own below


@pytest.fixture(scope="module")
def con() -> Iterator[duckdb.DuckDBPyConnection]:
    made = connect()
    create_macros(made)
    yield made
    made.close()


def label(row: dict[str, str]) -> str:
    return f"{row['id']} {row['what']}"[:70]


def answer(con: duckdb.DuckDBPyConnection, expression: str) -> float:
    def si(match: re.Match[str]) -> str:
        return f"{units.to_si(float(match[1]), match[2])!r}::DOUBLE"

    filled = re.sub(r"\{([-+.0-9eE]+) ([^}]+)\}", si, expression)
    assert "{" not in filled, filled
    found = con.execute(f"SELECT ({filled})::DOUBLE").fetchall()[0][0]
    assert found is not None, filled
    return float(found)


def half_unit(printed: str) -> float:
    """Half a unit in the last printed digit."""
    exponent = Decimal(printed).as_tuple().exponent
    return 0.5 * 10.0 ** int(exponent)


def allowed(row: dict[str, str]) -> float:
    if row["tolerance"]:
        return float(row["tolerance"])
    printed, recomputed = float(row["printed"]), float(row["recomputed"])
    return EXACT * abs(printed) if abs(printed - recomputed) <= EXACT * abs(recomputed) else half_unit(row["printed"])


@pytest.mark.parametrize("row", CHECKS, ids=label)
def test_printed_answer_comes_out(con: duckdb.DuckDBPyConnection, row: dict[str, str]) -> None:
    found = answer(con, row["expression"])
    assert abs(found - float(row["printed"])) <= allowed(row), f"{found} {row['unit']}, printed {row['printed']}: {row['source']}"
    rounding = half_unit(row["recomputed"])  # our own sum is kept with a few digits only
    assert abs(found - float(row["recomputed"])) <= EXACT * abs(found) + rounding, f"{found}, recomputed {row['recomputed']}"


@pytest.mark.parametrize("row", ERRORS, ids=label)
def test_published_error_does_not_come_out(con: duckdb.DuckDBPyConnection, row: dict[str, str]) -> None:
    found = answer(con, row["expression"])
    wrong, right = float(row["printed"]), float(row["recomputed"])
    assert found == pytest.approx(right, rel=0.003), row["why"]
    assert abs(found - wrong) > 5 * abs(found - right), row["why"]
    assert abs(found - wrong) > EXACT * abs(wrong), row["why"]


def test_feed_given_by_the_day_and_cake_by_the_hour_has_no_capture(con: duckdb.DuckDBPyConnection) -> None:
    """Example 3.1 words its feed of 3400 lb per day where it means per hour: capture would be above 2000 %."""
    meant = "SELECT capture_mass_pct(600, 25, 3400, 5.1), capture_mass_pct(600 * 24, 25, 3400, 5.1)"
    assert con.execute(meant).fetchall()[0] == (pytest.approx(86.51, rel=EXACT), None)


def test_litres_a_second_for_litres_a_day_are_outside_what_a_feed_can_be() -> None:
    """Example 2.6c prints 54,600 L/s for L/d; a reading like that is set aside as outside the physical range."""
    low, high = ROLES["sludge_flow"].physical
    assert not low <= units.to_si(54600, "L/s") <= high
    assert low <= units.to_si(54600, "L/h") / 24 <= high


def test_the_best_examples_and_the_known_errors_are_all_here() -> None:
    ids = {r["id"] for r in ROWS}
    assert ids >= BEST
    assert {r["id"] for r in ROWS if r["kind"] != "check"} >= KNOWN_ERRORS
    assert all(r["source"] for r in ROWS)
    assert [label(r) for r in ROWS if bool(r["tolerance"]) and not r["why"]] == []
    assert [label(r) for r in ROWS if r["kind"] != "check" and not r["why"]] == []


def test_rows_name_macros_or_units_and_nothing_else() -> None:
    """What a row may hold beside quantities: this project's macros, pow, NULL and arithmetic."""
    con = connect()
    create_macros(con)
    known = {
        r[0] for r in con.execute("SELECT function_name FROM duckdb_functions() WHERE function_type = 'macro' AND NOT internal").fetchall()
    }
    con.close()
    for row in ROWS:
        named = set(re.findall(r"[a-z_][a-z_0-9]*", re.sub(r"\{[^}]*\}|\d+\.?\d*e[-+]?\d+", "", row["expression"])))
        assert named <= known | {"pow"}, row["id"]
