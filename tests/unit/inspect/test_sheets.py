"""inspect on workbooks: every visible sheet is looked at, and named."""

# ruff: noqa: DTZ001
from __future__ import annotations

from datetime import datetime
from pathlib import Path

import openpyxl
import pytest

from pipelines import inspect
from pipelines.files.original import FileRefusedError


def test_inspect_names_every_sheet_when_none_reads_and_those_that_do(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active["A1"] = "notes"
    book.create_sheet("Blank")
    book.save(tmp_path / "none.xlsx")
    with pytest.raises(FileRefusedError, match=r"sheet 'Sheet': no row was found.*sheet 'Blank': "):
        inspect.run(tmp_path / "none.xlsx")
    for name in ("Week", "More"):
        sheet = book.create_sheet(name)
        for row in (["Time", "Feed Flow"], *([datetime(2026, 1, 5, hour), 400 + hour] for hour in range(6))):
            sheet.append(row)
    book.save(tmp_path / "two.xlsx")
    seen = inspect.run(tmp_path / "two.xlsx")
    assert (seen.layout.sheet, seen.readable_sheets) == ("Week", ("Week", "More"))
    assert "'More' can be read too" in seen.layout_toml


def lab_sheet(path: Path, *head: str) -> Path:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.title = "Results"
    book.active.append(list(head))
    for day in range(1, 9):
        book.active.append(
            [datetime(2026, 10, day), 2.5 + day / 10, 21.5, f"Q{day % 3}", datetime(2026, 10, day + 1), "again" if day == 4 else None]
        )
        book.active.cell(row=day + 1, column=1).number_format = "DD/MM/YYYY"
    book.save(path)
    return path


@pytest.mark.parametrize(
    "head",
    [
        ("Fecha muestra", "Alimentación MS %", "Torta MS %", "Lote", "Fecha informe", "Observaciones"),
        ("Probenahme", "Zulauf TS %", "Kuchen TS %", "Charge", "Bericht vom", "Bemerkung"),
        ("Sample date", "Feed TS %", "Cake TS %", "Lot no.", "Report date", "Remarks"),
    ],
)
def test_the_sample_date_counts_and_lots_and_reports_are_no_results(tmp_path: Path, head: tuple[str, ...]) -> None:
    lay = inspect.run(lab_sheet(tmp_path / "lab_1.xlsx", *head)).layout
    assert (lay.kind, lay.time_column, lay.lot_column, lay.reported_column) == ("lab wide", head[0], head[3], head[4])
    assert [(r.column, r.point, r.analyte) for r in lay.results] == [(head[1], "feed", "ts"), (head[2], "cake", "ts")]
