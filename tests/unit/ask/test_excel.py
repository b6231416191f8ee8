"""Answers as Excel workbooks, read back by two readers: values as they are, units, names of sheets, hostile text, same bytes."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, date, datetime, time
from decimal import Decimal
from pathlib import Path

import openpyxl
import polars as pl
import pytest
from click.testing import CliRunner
from python_calamine import CalamineWorkbook

from pipelines.ask import excel, questions
from pipelines.base.errors import UsageError
from pipelines.base.home import Home
from pipelines.cli.app import app
from pipelines.store import connect

HOSTILE = ["=1+1", "+A1", "-cmd", "@SUM(A1)", " =1", "\t=1", "=HYPERLINK(\"http://x\")", "http://x", "12", "_x0041_", "a\x1b[2J\x07", "<b>&\"'", "é\u2028ß"]  # fmt: skip
UNITS = {"dose_active_kg_t": "kg/t", "t": "h"}


def written(frame: pl.DataFrame, path: Path) -> Path:
    excel.write({"one": frame}, UNITS, path)
    return path


def openpyxl_cells(path: Path) -> list[tuple[object, ...]]:
    return list(openpyxl.load_workbook(path)["one"].iter_rows(values_only=True))


def test_values_are_what_they_are_and_headers_carry_units(tmp_path: Path) -> None:
    frame = pl.DataFrame(
        {
            "operating_day": [date(2026, 3, 8), None],
            "minute_utc": [datetime(2026, 3, 8, 6, 30, tzinfo=UTC), None],
            "start_local": [datetime(2026, 3, 8, 1, 30), datetime(1850, 1, 1)],  # noqa: DTZ001 - a local time
            "at": [time(7, 15), None],
            "dose_active_kg_t": [8.125, float("nan")],
            "n": [7, 12345678901234567],
            "d": [Decimal("1.5"), None],
            "is_provisional": [True, False],
            "t": ["007", None],
            "parts": [[1, 2], None],
        }
    ).with_columns(pl.col("minute_utc").dt.convert_time_zone("America/New_York"))
    head, first, second = openpyxl_cells(path := written(frame, tmp_path / "a.xlsx"))
    assert head == ("operating_day", "minute_utc [UTC]", "start_local", "at", "dose_active_kg_t [kg/t]", "n", "d", "is_provisional", "t [h]", "parts")  # fmt: skip
    day, instant, local = datetime(2026, 3, 8), datetime(2026, 3, 8, 6, 30), datetime(2026, 3, 8, 1, 30)  # noqa: DTZ001 - Excel has no zones
    assert first == (day, instant, local, time(7, 15), 8.125, 7, 1.5, True, "007", "[1, 2]")
    assert second == (None, None, "1850-01-01 00:00:00", None, "nan", "12345678901234567", None, False, None, None)
    other = CalamineWorkbook.from_path(str(path)).get_sheet_by_name("one").to_python()
    assert other[1] == [date(2026, 3, 8), instant, local, time(7, 15), 8.125, 7.0, 1.5, True, "007", "[1, 2]"]


def test_text_stays_text(tmp_path: Path) -> None:
    path = written(pl.DataFrame({"=name": HOSTILE}), tmp_path / "a.xlsx")
    cells = [row[0] for row in openpyxl.load_workbook(path)["one"].iter_rows()]
    assert {cell.data_type for cell in cells} <= {"s", "inlineStr"}
    assert [cell.quotePrefix for cell in cells[1:6]] == [True] * 5
    other = CalamineWorkbook.from_path(str(path)).get_sheet_by_name("one").to_python(skip_empty_area=False)
    assert [row[0] for row in other] == ["=name", *HOSTILE]
    xml = zipfile.ZipFile(path).read("xl/worksheets/sheet1.xml")
    assert b"<f>" not in xml
    assert b"<hyperlink" not in xml


def test_the_header_row_is_frozen_and_the_bytes_are_the_same_each_time(tmp_path: Path) -> None:
    frame = pl.DataFrame({"a": [1], "t": ["x"]})
    first, second = written(frame, tmp_path / "1.xlsx").read_bytes(), written(frame, tmp_path / "2.xlsx").read_bytes()
    assert first == second
    assert openpyxl.load_workbook(io.BytesIO(first))["one"].freeze_panes == "A2"


def test_what_a_sheet_cannot_hold_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="1048576 rows"):
        written(pl.DataFrame({"a": pl.zeros(excel.MOST_ROWS + 1, eager=True)}), tmp_path / "a.xlsx")
    with pytest.raises(UsageError, match="32768 characters"):
        written(pl.DataFrame({"a": ["x" * 32768]}), tmp_path / "a.xlsx")
    assert list(tmp_path.iterdir()) == []


def test_sheet_names_are_unique_and_such_as_excel_takes() -> None:
    names = excel.sheet_names(["dose_by_day", "x/DOSE_by_day.sql", "SELECT 1", f"{'q' * 40}.sql", "history.sql", "a[1].sql"])
    assert names == ["dose_by_day", "DOSE_by_day 2", "answer 3", "q" * 31, "history 5", "a_1_"]


def test_parameters_go_to_the_questions_that_have_them() -> None:
    with_plant = next(q.name for q in questions.saved().values() if "plant" in {p.name for p in q.parameters})
    asked = [with_plant, "SELECT $n AS n"]
    assert questions.shared_out(asked, {"plant": "p", "n": "1"}) == [{"plant": "p"}, {"n": "1"}]
    with pytest.raises(UsageError, match="no_such"):
        questions.shared_out(asked, {"no_such": "1"})


@pytest.fixture
def home(tmp_path: Path) -> Home:
    home = Home(tmp_path)
    home.database.parent.mkdir(parents=True)
    con = connect(home.database)
    con.execute("CREATE TABLE dictionary (table_name VARCHAR, column_name VARCHAR, unit VARCHAR)")
    con.execute(
        "INSERT INTO dictionary VALUES ('a', 'dose', 'kg/t'), ('b', 'dose', 'kg/t'), ('a', 'value', 'm'), ('b', 'value', 's'), ('a', 'line', '-')"
    )
    con.close()
    return home


def asked(home: Home, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["--home", str(home.root), "ask", *words])
    return done.exit_code, f"{done.output}{done.exception or ''}"


def test_several_questions_make_one_workbook(home: Home) -> None:
    out = home.root / "answers.xlsx"
    code, said = asked(
        home, "--format", "xlsx", "--out", str(out), "SELECT 8.5::DOUBLE AS dose, 1 AS value, 'a' AS line", "SELECT $n AS n", "-p", "n=3"
    )
    assert (code, said) == (0, "")
    book = openpyxl.load_workbook(out)
    assert {s.title: list(s.values) for s in book} == {
        "answer 1": [("dose [kg/t]", "value", "line"), (8.5, 1, "a")],
        "answer 2": [("n",), ("3",)],
    }


@pytest.mark.parametrize("words", [("SELECT 1", "SELECT 2"), ("SELECT 1", "--format", "xlsx")])
def test_other_formats_answer_one_question_and_a_workbook_needs_a_file(home: Home, words: tuple[str, ...]) -> None:
    code, said = asked(home, *words)
    assert code != 0
    assert "question" in said or "--out" in said
