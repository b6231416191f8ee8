"""The exact reader: Python's csv module over physical lines, with every record tied to the lines it covers."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

from pipelines.files.original import FileRefusedError
from pipelines.receive.text.dialect import LONGEST_LINE, ONE_SIGN, Dialect

RECORD_LINES = 1_000  # a record over more lines than this has a quote that was never meant to open one
UNCLOSED = "a quote is opened here and never closed"
_BLOCK = 50_000  # records taken from the csv module at a time
_SENTINEL = "\x02"


@dataclass(frozen=True)
class Block:
    """Consecutive records: their fields, and the number of the first physical line of each, from 0 within the piece.

    Record i covers the lines starts[i] to starts[i + 1] (exclusive). An `unclosed` block is one physical line.
    """

    rows: list[list[str]]
    starts: list[int]
    unclosed: bool = False


def text_lines(piece: bytes, near_line: int) -> list[str]:
    """Return the physical lines of a piece with their line ends (LF, CRLF or CR); refuses what is not UTF-8."""
    try:
        lines = list(io.StringIO(piece.decode("utf-8"), newline=""))
    except UnicodeDecodeError as error:
        line = near_line + piece.count(b"\n", 0, error.start)
        raise FileRefusedError(
            "file not readable",
            f"line {line}: byte {piece[error.start]:#04x} is not UTF-8; name the encoding in the layout, such as cp1252",
        ) from error
    refuse_endless(max(map(len, lines), default=0))
    return lines


def refuse_endless(longest: int) -> None:
    """Refuse the file when its longest line is no table row."""
    if longest > LONGEST_LINE:
        raise FileRefusedError("file not readable", f"a line is longer than {LONGEST_LINE // 2**20} MiB")


class _LongDelimiter:
    """The csv module's reader of lines whose delimiter it cannot take: one sign stands for it meanwhile."""

    def __init__(self, lines: Iterator[str], dialect: Dialect, *, strict: bool) -> None:
        self._dialect = dialect
        self._reader = csv_reader(map(dialect.one_sign, lines), replace(dialect, delimiter=ONE_SIGN), strict=strict)

    def __iter__(self) -> _LongDelimiter:
        return self

    def __next__(self) -> list[str]:
        return [self._dialect.as_written(field) for field in next(self._reader)]

    @property
    def line_num(self) -> int:
        return int(self._reader.line_num)


def csv_reader(lines: Iterator[str], dialect: Dialect, *, strict: bool = False) -> Any:
    """Return the csv module's reader for a dialect."""
    csv.field_size_limit(LONGEST_LINE)
    if dialect.is_long:
        return _LongDelimiter(lines, dialect, strict=strict)
    if dialect.quote is None:
        return csv.reader(lines, delimiter=dialect.delimiter, quoting=csv.QUOTE_NONE, escapechar=dialect.escape, strict=strict)
    return csv.reader(
        lines,
        delimiter=dialect.delimiter,
        quotechar=dialect.quote,
        escapechar=dialect.escape,
        doublequote=dialect.escape is None,
        strict=strict,
    )


def blocks(lines: list[str], dialect: Dialect, *, is_last: bool) -> Iterator[Block]:
    """Yield the records of physical lines. What is left open at the end of a piece that is not the last is not
    yielded: the caller carries the lines behind the last record over to the next piece.
    """
    at = 0
    while at < len(lines):
        reader, start, broken = csv_reader(islice(lines, at, None), dialect), at, False
        while not broken:
            taken, broken = _take(reader)
            if not taken:
                break
            rows, starts = [r or [""] for r, _ in taken], [start, *(at + n for _, n in taken)]
            whole = _whole(starts, lines, dialect)
            broken = broken or whole < len(rows)
            if whole:
                yield Block(rows[:whole], starts[: whole + 1])
            start = starts[whole]
        if not broken:
            return
        if not is_last and len(lines) - start <= RECORD_LINES and is_open(lines[start:], dialect):
            return  # it may close in the next piece
        yield Block([[]], [start, start + 1], unclosed=True)
        at = start + 1


def _take(reader: Any) -> tuple[list[tuple[list[str], int]], bool]:
    """Return the next records with the lines read up to their end, and whether the record after them is broken."""
    taken: list[tuple[list[str], int]] = []
    try:
        taken.extend((fields, reader.line_num) for fields in islice(reader, _BLOCK))
    except csv.Error:  # a field longer than the longest line: its quote never closes
        return taken, True
    return taken, False


def _whole(starts: list[int], lines: list[str], dialect: Dialect) -> int:
    """Return how many records stand before the first that is too long, or is open at the end of the lines."""
    records = len(starts) - 1
    if starts[-1] - starts[0] != records:
        for i in range(records):
            if starts[i + 1] - starts[i] > RECORD_LINES:
                return i
    return records - 1 if starts[-1] == len(lines) and is_open(lines[starts[-2] :], dialect) else records


def is_open(lines: list[str], dialect: Dialect) -> bool:
    """Return whether the one record these lines hold would go on in a further line."""
    if dialect.quote is None and dialect.escape is None:
        return False
    if lines[-1][-1:] not in ("\n", "\r"):
        lines = [*lines[:-1], lines[-1] + "\n"]
    return len(list(csv_reader(iter([*lines, _SENTINEL]), dialect))) == 1
