"""The KPI catalogue names columns that exist, every ratio of the KPI tables stands in it, and it is published."""

from __future__ import annotations

import re
from pathlib import Path

import duckdb
import pytest

from pipelines.publish import describe
from schemas import TABLES
from schemas.kpis import sql_text
from schemas.kpis.catalogue import ALL, CATALOGUE, CatalogueRow
from schemas.kpis.columns import KPI
from schemas.kpis.outside_figures import CHECKED, NONE, checked_against
from schemas.views.registry import US, VIEWS

NAMED = {column for kpi in CATALOGUE for column in kpi.columns}
UNNUMBERED = ("period_", "minutes_seen", "is_provisional", "data_version")
SHARES = (
    "_pct",
    "_share",
    "_ratio",
    "_per_m",
    "_per_unit",
    "_per_t",
    "_kg_t",
    "_kwh_t",
    "_m3_t",
    "_closure",
    "_g_m3",
    "_kj_m3",
    "_1_s",
    "_gt",
)


def test_numbers_run_from_1_to_67_without_a_gap() -> None:
    assert [kpi.number for kpi in CATALOGUE] == list(range(1, 68))


@pytest.mark.parametrize("kpi", CATALOGUE, ids=lambda k: f"{k.number} {k.head.name}")
def test_a_kpi_stands_in_columns_or_says_why_not(kpi: CatalogueRow) -> None:
    assert kpi.columns or kpi.head.note
    for table in kpi.tables:
        assert set(kpi.columns) | ({kpi.head.gate} - {""}) <= set((TABLES | VIEWS)[table].column_names), table


def test_every_ratio_of_the_kpi_tables_has_a_number() -> None:
    ratios = {c.name for c in KPI if c.type == "double" and c.name.endswith(SHARES)}
    assert len(ratios) > 40
    assert ratios - NAMED == set()


def test_every_reason_column_is_named_by_a_kpi() -> None:
    assert {c.name for c in KPI if c.name.endswith("_reason")} == {kpi.head.gate for kpi in CATALOGUE if set(kpi.tables) <= set(ALL)} - {""}


def test_us_forms_are_of_columns_that_exist_and_stand_in_every_view() -> None:
    shared = {c.name for c in KPI}
    assert shared | set(TABLES["kpi_day"].column_names) >= US.keys()  # the uncertainties stand in kpi_day alone
    for table in ALL:
        assert {us for name, (us, _) in US.items() if name in shared} <= set(VIEWS[f"{table}_us"].column_names)
    assert {us for us, _ in US.values()} <= set(VIEWS["kpi_day_us"].column_names)


def test_published_catalogue_has_a_row_for_each_column() -> None:
    con = duckdb.connect()
    con.execute(TABLES["kpi_catalogue"].ddl())
    describe._catalogue(con)
    dose = con.execute("SELECT column_name, column_us, reason_column FROM kpi_catalogue WHERE number = 12").fetchall()
    assert dose == [("dose_active_kg_t", "dose_lb_active_per_dry_ton", "dose_reason")]
    assert con.execute("SELECT column_name, tables, note <> '' FROM kpi_catalogue WHERE number = 63").fetchall() == [("", "", True)]
    rows = con.execute("SELECT count(*) FROM kpi_catalogue").fetchall()[0][0]
    assert rows == sum(max(1, len(kpi.columns)) for kpi in CATALOGUE)


def test_sql_of_the_declarations_is_up_to_date() -> None:
    for path, text in sql_text.texts().items():
        assert path.read_text(encoding="utf-8") == text, f"{path.name}: run `python -m schemas`"


def test_outside_figures_are_of_known_kpis_and_their_tests_are_there() -> None:
    root = Path(__file__).resolve().parents[3]
    assert set(CHECKED) <= {row.number for row in CATALOGUE}
    examples = {
        line.split(",")[0].rstrip("abcd")
        for line in (root / "tests/published/worked_examples.csv").read_text(encoding="utf-8").splitlines()
    }
    for text in CHECKED.values():
        places = re.findall(r"tests/[\w./]+", text)
        assert places
        assert all((root / place).exists() for place in places), text
        named = re.findall(r"csv, ([\d., ando]+)\)", text)
        assert all(number in examples for part in named for number in re.findall(r"\d+\.\d+", part)), text
    assert checked_against(63) == NONE
