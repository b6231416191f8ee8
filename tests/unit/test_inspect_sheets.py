"""inspect on workbooks: every visible sheet is looked at, and named."""

# ruff: noqa: DTZ001
from __future__ import annotations

from datetime import datetime
from pathlib import Path

import openpyxl
import pytest

from pipelines import inspect
from pipelines.chunks import FileRefusedError


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
