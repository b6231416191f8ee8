"""Lab sheets with one row a line: the column that says it, its words, and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from pipelines import inspect, receive
from pipelines.check.lab import results
from pipelines.plant import kpi_inputs
from pipelines.plant.model import PlantFile
from tests.plants import plant_file

SHEET = """Date,Line,Feed TS %,Cake TS %
2026-01-05,L1,2.5,21.5
2026-01-05,l2,3.5,24.5
2026-01-05,L9,3.1,22.0
"""
LAYOUT: dict[str, Any] = {
    "id": "lab", "kind": "lab wide", "files": "lab_*.csv", "time_column": "Date", "time_format": "%Y-%m-%d", "line_column": "Line",
    "line_words": {"L1": "line-1", "L2": "line-2"},
    "results": [
        {"column": "Feed TS %", "point": "feed", "analyte": "ts", "unit": "%"},
        {"column": "Cake TS %", "point": "cake", "analyte": "ts", "unit": "%"},
    ],
}  # fmt: skip


def plant(**changes: Any) -> PlantFile:
    layout = {k: v for k, v in (LAYOUT | changes).items() if v is not None}
    return plant_file(lines=("line-1", "line-2"), layouts=(layout,), blocks={"lab": {"time_is_stated": False}}, time_zone="UTC")


def test_each_row_is_of_the_line_it_names(tmp_path: Path) -> None:
    path = tmp_path / "lab_1.csv"
    path.write_text(SHEET, encoding="utf-8")
    plant_file = plant()
    chunk = next(receive.open_file(path, path.name, plant_file).chunks())
    found, refused = results.results(chunk.values, plant_file.layouts[0], plant_file, datetime(2026, 1, 6, tzinfo=UTC))
    assert [(r["line"], r["point"], r["value"]) for r in found] == [
        ("line-1", "feed", 2.5), ("line-1", "cake", 21.5), ("line-2", "feed", 3.5), ("line-2", "cake", 24.5),
    ]  # fmt: skip
    assert {(r.line_no, r.reason, r.detail) for r in refused} == {(4, "unknown sample point", "no line is called 'L9'")}
    assert ("cake", "ts") in kpi_inputs.lab_results(plant_file, "line-2")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"line_words": None}, "needs line_words"),
        ({"line_column": None}, "words of line_column"),
        ({"line_column": None, "line_words": None}, "'Feed TS %' have no line"),
        ({"line_words": {"L1": "line-7"}}, "no line 'line-7'"),
    ],
)
def test_lines_that_cannot_be_told_are_refused(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        plant(**changes)


def test_inspect_proposes_the_line_column(tmp_path: Path) -> None:
    path = tmp_path / "lab_1.csv"
    path.write_text(SHEET, encoding="utf-8")
    lay = inspect.run(path).layout
    assert (lay.line_column, set(lay.line_words), [r.line for r in lay.results]) == ("Line", {"L1", "L9", "l2"}, [None, None])
