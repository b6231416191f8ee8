"""Answers as an Excel workbook: one sheet an answer, units in the header cells, real dates and numbers, no formulas."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.ask.render import FORMULA_STARTS
from pipelines.base.errors import UsageError
from pipelines.base.home import Home

if TYPE_CHECKING:
    import polars as pl
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

MOST_ROWS = 1_048_575  # Excel's limits, the header row taken off
MOST_COLUMNS = 16_384
MOST_CHARACTERS = 32_767  # of a cell
MOST_DIGITS = 10**15  # Excel keeps 15 digits of a number; a longer whole number stays text
_FIRST_DATE = date(1900, 3, 1)  # before it Excel counts a day that never was
_CREATED = datetime(2000, 1, 1, tzinfo=UTC)  # the same for every workbook: same answers, same bytes
_UNITS = "SELECT column_name, min(unit) AS unit FROM dictionary GROUP BY column_name HAVING count(DISTINCT unit) = 1 AND min(unit) <> '-'"
_OPTIONS = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


def units(home: Home, *, seconds: float) -> dict[str, str]:
    """Return column name -> unit from the published data dictionary, for names that have one unit wherever they stand."""
    from pipelines.ask import sandbox

    return dict(sandbox.run(home.database, _UNITS, seconds=seconds, parquet=home.parquet).rows())


def sheet_names(questions: Sequence[str]) -> list[str]:
    """Return a sheet name for each question: its name or its file's, `answer N` for SQL text; unique, and such as Excel takes."""
    names: list[str] = []
    for number, words in enumerate(questions, start=1):
        text = f"answer {number}" if " " in words.strip() and not words.lower().endswith(".sql") else Path(words).stem
        name = re.sub(r"[\[\]:*?/\\\x00-\x1f]", "_", text)[:31].strip("' ")
        taken = {"", "history", *(one.casefold() for one in names)}
        names.append(f"{name[:25]} {number}".strip() if name.casefold() in taken else name)
    return names


def write(answers: Mapping[str, pl.DataFrame], unit_of: Mapping[str, str], path: Path) -> None:
    """Write a workbook of sheet name -> answer; the file appears when the whole workbook has been made.

    UsageError when an answer is larger than a sheet of Excel.
    """
    import xlsxwriter

    made = io.BytesIO()
    with xlsxwriter.Workbook(made, _OPTIONS) as book:
        book.set_properties({"created": _CREATED.replace(tzinfo=None)})
        book.use_zip64()
        looks = {
            "head": book.add_format({"bold": True, "bottom": 1}),
            "risky": book.add_format({"quote_prefix": True}),  # stays text when somebody edits the cell
            "date": book.add_format({"num_format": "yyyy-mm-dd"}),
            "instant": book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"}),
            "time": book.add_format({"num_format": "hh:mm:ss"}),
        }
        for name, frame in answers.items():
            _fitting(name, frame)
            _sheet(book.add_worksheet(name), frame, unit_of, looks)
    path.write_bytes(made.getvalue())


def header(name: str, kind: pl.DataType, unit_of: Mapping[str, str]) -> str:
    """Return the header cell of a column: its name and its unit, UTC for an instant."""
    import polars as pl

    is_instant = isinstance(kind, pl.Datetime) and kind.time_zone is not None
    unit = "UTC" if is_instant else unit_of.get(name)
    return f"{name} [{unit}]" if unit else name


def _fitting(name: str, frame: pl.DataFrame) -> None:
    if frame.height > MOST_ROWS or frame.width > MOST_COLUMNS:
        raise UsageError(
            f"{name}: {frame.height} rows of {frame.width} columns are more than a sheet of Excel holds",
            remedy="narrow the question, or use --format parquet",
        )


def _sheet(sheet: Worksheet, frame: pl.DataFrame, unit_of: Mapping[str, str], looks: dict[str, Format]) -> None:
    heads = [header(name, kind, unit_of) for name, kind in frame.schema.items()]
    sheet.freeze_panes(1, 0)
    for column, text in enumerate(heads):
        sheet.set_column(column, column, min(max(len(text) + 2, 12), 50))
    for column, text in enumerate(heads):
        sheet.write_string(0, column, text, looks["head"])
    for row, values in enumerate(frame.iter_rows(), start=1):
        for column, value in enumerate(values):
            _cell(sheet, row, column, value, looks)


def _cell(sheet: Worksheet, row: int, column: int, value: Any, looks: dict[str, Format]) -> None:
    """Write one value as what it is: logical, number, date or time; all else as text, null not at all."""
    if value is None:
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, column, value)
    elif _is_exact_number(value):
        sheet.write_number(row, column, value)
    elif isinstance(value, datetime) and value.date() >= _FIRST_DATE:
        sheet.write_datetime(row, column, value.astimezone(UTC).replace(tzinfo=None) if value.tzinfo else value, looks["instant"])
    elif isinstance(value, date) and not isinstance(value, datetime) and value >= _FIRST_DATE:
        sheet.write_datetime(row, column, value, looks["date"])
    elif isinstance(value, time):
        sheet.write_datetime(row, column, value, looks["time"])
    else:
        _text(sheet, row, column, value.hex() if isinstance(value, bytes) else str(value), looks)


def _is_exact_number(value: Any) -> bool:
    """Whether Excel keeps a value as a number without loss of digits that matter: finite, and no whole number beyond 15 digits."""
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, Decimal) and not value.is_finite():
        return False
    return isinstance(value, int | Decimal) and -MOST_DIGITS < value < MOST_DIGITS


def _text(sheet: Worksheet, row: int, column: int, text: str, looks: dict[str, Format]) -> None:
    """Write a text cell, which no spreadsheet computes; one that begins like a formula keeps its mark as text."""
    if len(text.encode("utf-16-le")) // 2 > MOST_CHARACTERS:
        raise UsageError(
            f"a text of {len(text)} characters is more than a cell of Excel holds", remedy="shorten it, or use --format parquet"
        )
    sheet.write_string(row, column, text, looks["risky"] if text.lstrip(" \"'").startswith(FORMULA_STARTS) else None)
