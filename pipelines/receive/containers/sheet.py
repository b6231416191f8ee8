"""The elements of a workbook's parts, as an XML parser meets them: shared texts, and the rows of a sheet as lines."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from pipelines.base.sanitise import name as shown
from pipelines.receive.containers.cells import LONGEST_CELL, DateWriter, NumberFormat, number_text
from pipelines.receive.containers.zip_files import refused
from pipelines.receive.text.dialect import LONGEST_LINE

DELIMITER = "\t"
MOST_ROWS, MOST_COLUMNS = 1_048_576, 16_384  # the limits of the format
MOST_CELLS = 5_000_000  # blank ones between others included: a month of one-minute rows with a hundred columns is 4.3 million
LARGEST_TEXT = 512 * 2**20  # characters a sheet may become; many cells can share one long text
LARGEST_SHARED = 128 * 2**20  # characters of all shared texts: held in memory
MOST_SHARED = 2_000_000  # shared texts
NO_STORED_VALUE = "formula without a stored value: open and save the workbook in a spreadsheet program"
_LETTERS = re.compile(r"[A-Za-z]{1,3}\Z")
_BREAKS = re.compile(r"[\t\r\n\v\f\x1c-\x1e\x85\u2028\u2029]+")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")  # how the format writes characters that XML cannot hold


def whole_number(text: str | None) -> int:
    """Return a small whole number of an attribute; -1 for anything else."""
    return int(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 9 else -1


def plain(text: str) -> str:
    """Return the text of a cell on one line, with characters that the format spells out put back."""
    if "_x" in text:
        text = _ESCAPED.sub(lambda m: chr(int(m[1], 16)), text)
    return _BREAKS.sub(" ", text).replace("\x00", "") if _BREAKS.search(text) or "\x00" in text else text


class Texts:
    """Collects shared texts: runs joined, phonetic guides left out."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self._runs: list[str] = []
        self._takes, self._phonetic, self._size = False, False, 0

    def start(self, name: str, _: dict[str, str]) -> None:
        if name == "si":
            self._runs = []
        elif name == "rPh":
            self._phonetic = True
        elif name == "t":
            self._takes = not self._phonetic

    def text(self, data: str) -> None:
        if self._takes:
            self._runs.append(data)
            self._size += len(data)
            if self._size > LARGEST_SHARED:
                raise refused(f"the workbook's texts are longer than {LARGEST_SHARED // 2**20} million characters")

    def end(self, name: str) -> None:
        if name == "t":
            self._takes = False
        elif name == "rPh":
            self._phonetic = False
        elif name == "si":
            self.texts.append(plain(_short("".join(self._runs))))
            if len(self.texts) > MOST_SHARED:
                raise refused(f"the workbook has more than {MOST_SHARED} texts")


def _short(text: str) -> str:
    if len(text) > LONGEST_CELL:
        raise refused(f"a cell holds more than {LONGEST_CELL} characters, the limit of the format")
    return text


@dataclass
class Rows:
    """Turns the elements of a sheet into lines; `taken` hands over those that are complete."""

    shared: list[str]
    formats: list[NumberFormat | None]
    dates: DateWriter
    is_closed: bool = False
    _columns: dict[str, int] = field(default_factory=dict)  # letters met so far
    _row_text: str = "0"
    _done: list[str] = field(default_factory=list)
    _row: int = 0  # number of the row being read, or read last
    _column: int = 0  # columns of it read so far
    _width: int = 0  # of the widest row so far
    _cells: list[str] = field(default_factory=list)
    _value: list[str] = field(default_factory=list)
    _takes: bool = False
    _phonetic: bool = False
    _kind: str = "n"
    _has_formula: bool = False
    _style: str = "0"
    _row_size: int = 0
    _value_size: int = 0
    _total_cells: int = 0
    _total_size: int = 0

    def __post_init__(self) -> None:
        self._styles = {str(i): shows for i, shows in enumerate(self.formats) if shows is not None}
        self._decimal = self.dates.layout.decimal

    def taken(self) -> list[str]:
        """Return the lines made since last asked."""
        done, self._done = self._done, []
        return done

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "c":
            self._start_cell(attributes)
        elif name == "v" or (name == "t" and self._kind == "inlineStr" and not self._phonetic):
            self._takes = True
        elif name == "f":
            self._has_formula = True
        elif name == "rPh":
            self._phonetic = True
        elif name == "row":
            self._start_row(attributes)

    def text(self, data: str) -> None:
        if self._takes:
            self._value.append(data)
            self._value_size += len(data)
            if self._value_size > LONGEST_CELL:
                _short("x" * self._value_size)

    def end(self, name: str) -> None:
        if name in ("v", "t"):
            self._takes = False
        elif name == "rPh":
            self._phonetic = False
        elif name == "c":
            self._end_cell()
        elif name == "row":
            self._end_row()
        elif name == "sheetData":
            self.is_closed = True

    def _start_row(self, attributes: dict[str, str]) -> None:
        number = whole_number(attributes["r"]) if "r" in attributes else self._row + 1
        if not self._row < number <= MOST_ROWS:
            raise refused(f"row {attributes.get('r', number)!r} stands behind row {self._row}, or beyond the last row a sheet can have")
        self._count(cells=number - self._row - 1, size=number - self._row - 1)
        self._done += ["\n"] * (number - self._row - 1)
        self._row, self._row_text, self._column, self._cells, self._row_size = number, str(number), 0, [], 0

    def _start_cell(self, attributes: dict[str, str]) -> None:
        place, column = attributes.get("r"), self._column + 1
        if place is not None:
            letters = place.removesuffix(self._row_text)
            known = self._columns.get(letters)
            column = self._columns.setdefault(letters, _column(letters)) if known is None else known
            if len(letters) == len(place):
                raise refused(f"cell {shown(place)} does not stand in row {self._row}")
        if column != self._column + 1 or column > MOST_COLUMNS:
            if not self._column < column <= MOST_COLUMNS:
                raise refused(f"cell {shown(place or str(column))} is out of order, or beyond the last column a sheet can have")
            self._cells += [""] * (column - self._column - 1)
        self._column = column
        self._kind, self._style = attributes.get("t", "n"), attributes.get("s", "0")
        self._value, self._value_size, self._has_formula = [], 0, False

    def _end_cell(self) -> None:
        raw = "".join(self._value)
        is_unknown = self._has_formula and not raw and self._kind != "str"  # an empty text is a formula's value too
        text = NO_STORED_VALUE if is_unknown else self._meaning(raw)
        self._cells.append(text)
        self._row_size += len(text) + 1
        if self._row_size > LONGEST_LINE:
            raise refused(f"row {self._row} is longer than {LONGEST_LINE // 2**20} MiB")
        self._kind = "n"

    def _meaning(self, raw: str) -> str:
        if self._kind == "n":
            shows = self._styles.get(self._style, None)
            return plain(number_text(raw, self._decimal) if shows is None else self.dates.serial(raw, shows)) if raw else ""
        if self._kind == "s":
            number = whole_number(raw.strip())
            if not 0 <= number < len(self.shared):
                raise refused(f"row {self._row} refers to text {shown(raw)}, which the workbook does not have")
            return self.shared[number]
        if self._kind in ("str", "inlineStr", "e"):
            return plain(raw)
        raw = raw.strip()
        if self._kind == "b":
            return {"1": "TRUE", "0": "FALSE"}.get(raw, plain(raw))
        if self._kind == "d":
            return plain(self.dates.iso(raw))
        raise refused(f"row {self._row} has a cell of the unknown type {shown(self._kind)}")

    def _end_row(self) -> None:
        """Close a row: blanks at its end go, and it is filled up to the widest row so far."""
        while self._cells and not self._cells[-1]:
            self._cells.pop()
        self._width = max(self._width, len(self._cells))
        if not self._cells:
            self._done.append("\n")
            self._count(cells=1, size=1)
            return
        self._cells += [""] * (self._width - len(self._cells))
        line = DELIMITER.join(self._cells) + "\n"
        self._count(cells=self._width, size=len(line))
        self._done.append(line)

    def _count(self, *, cells: int, size: int) -> None:
        self._total_cells += cells
        self._total_size += size
        if self._total_cells > MOST_CELLS:
            raise refused(f"the sheet spans more than {MOST_CELLS} cells; save it as CSV, or send shorter sheets")
        if self._total_size > LARGEST_TEXT:
            raise refused(f"the sheet has more than {LARGEST_TEXT // 2**20} million characters")


def _column(letters: str) -> int:
    """Return the number of a column from 1; one too large for what is no column."""
    if not _LETTERS.match(letters):
        return MOST_COLUMNS + 1
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number
