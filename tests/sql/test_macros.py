"""The case files of scalar macros: right arguments, a null and a zero where they can be, and the header that says what it is.

The values themselves are compared in test_sql_cases.py.
"""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import pytest

from pipelines import manual
from pipelines.base import resources
from pipelines.manual.formulas_page import Formula, formulas
from pipelines.plant import limits
from pipelines.store import connect
from pipelines.store.sql_files import create_macros

HERE = Path(__file__).parent
EXTRA = ["expected", "tolerance", "note"]
SCALAR = [p for p in resources.sql_files("macros") if not re.search(r"\)\s*AS\s+TABLE", p.read_text(encoding="utf-8"))]
MARKS = (
    "[from memory]",
    "[common practice]",
    "common practice",
    "tests/published/",
    "definition",
    "unit identity",
    "hydrostatics",
    "this project",
    "Spellman",
    "Sowby",
)


def cases(macro: str) -> list[dict[str, str]]:
    with (HERE / macro / "cases.csv").open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


@pytest.fixture(scope="module")
def parameters() -> dict[str, list[str]]:
    con = connect()
    create_macros(con)
    found = con.execute(
        "SELECT function_name, parameters FROM duckdb_functions() WHERE function_type = 'macro' AND NOT internal"
    ).fetchall()
    con.close()
    return dict(found)


@pytest.mark.parametrize("path", SCALAR, ids=lambda p: p.stem)
def test_case_file_names_the_arguments_and_asks_for_null(path: Path, parameters: dict[str, list[str]]) -> None:
    rows = cases(path.stem)
    arguments = list(rows[0])[:-3]
    assert list(rows[0])[-3:] == EXTRA
    assert arguments == parameters[path.stem]
    assert len(rows) >= 3
    assert any(row[a] == "" for row in rows for a in arguments), "no case with an unknown input"
    assert any(row["expected"] != "" for row in rows)
    assert all(row["note"] for row in rows), "a case without its working"


@pytest.mark.parametrize("path", SCALAR, ids=lambda p: p.stem)
def test_macro_says_where_its_formula_comes_from(path: Path) -> None:
    source = next(line for line in path.read_text(encoding="utf-8").splitlines() if line.lower().startswith("-- source:"))
    assert any(mark in source for mark in MARKS), source


@pytest.mark.parametrize("formula", [f for f in formulas() if not f.is_table], ids=lambda f: f.call)
def test_the_example_of_a_macro_is_true_and_stands_in_the_manual(formula: Formula) -> None:
    call, _, expected = formula.header["example"].rpartition(" = ")
    assert call.partition("(")[0] == formula.call.partition("(")[0]
    con = connect()
    create_macros(con)
    ((found,),) = con.execute(f"SELECT {call}").fetchall()
    con.close()
    assert str(found).lower() == expected or float(found) == pytest.approx(float(expected), rel=1e-6)
    assert f"| `{formula.header['example']}` |" in manual.page("formulas")


def test_numbers_may_be_literals_of_any_kind() -> None:
    """Questions are typed by hand: 600 and 600.0 and 6e2 mean the same, so integer division must not creep in."""
    con = connect()
    create_macros(con)
    row = con.execute(
        "SELECT ratio_or_null(1, 4), capture_pct(2.5, 22, 1000, 0) = capture_pct(2.5e0, 22e0, 1000e0, 0e0), payback_years(1, 4), speed_normalised_flow(1, 4, 2)"
    ).fetchall()[0]
    con.close()
    assert row == (0.25, True, 0.25, 0.5)


def test_the_share_of_a_minute_that_must_be_known_is_that_of_the_other_steps() -> None:
    con = connect()
    create_macros(con)
    below = math.nextafter(limits.COVERED_SHARE, 0.0)
    assert con.execute("SELECT is_covered($at), is_covered($below)", {"at": limits.COVERED_SHARE, "below": below}).fetchone() == (
        True,
        False,
    )
