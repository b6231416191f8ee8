"""Raw records of a file by line number, for set-aside rows and traces."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipelines.plant.model import Layout
from pipelines.receive.containers.content import content
from pipelines.receive.shapes.header import dialect_of
from pipelines.receive.text.dialect import PIECE_BYTES, Dialect
from pipelines.receive.text.exact_reader import RECORD_LINES, csv_reader, is_open

_LF, _CR = 10, 13


def raw_lines(path: Path, layout: Layout, line_numbers: Iterable[int], *, piece_bytes: int = PIECE_BYTES) -> dict[int, str]:
    """Return the raw records that begin at the given physical lines (from 1), decoded, without their last line end.

    Line ends inside quotes are kept. `layout` is the one the file was opened with; a row of a workbook is its cells joined by
    tabs. Numbers past the end of the file are left out. Reads no further than needed.
    """
    wanted = sorted(set(line_numbers), reverse=True)  # taken from the end
    found: dict[int, str] = {}
    if not wanted:
        return found
    dialect, line, carried = dialect_of(layout), 1, b""
    source = content(path).pieces(layout, piece_bytes)
    following = next(source, None)
    while following is not None and wanted:
        piece, following = carried + following, next(source, None)
        ends = line_ends(piece)
        count = len(ends)
        done = count
        while wanted and wanted[-1] - line < count:
            first = wanted[-1] - line
            covered = _covered(piece, ends, first, dialect, is_last=following is None)
            if covered == 0:
                done = first  # the record goes on in the next piece
                break
            found[wanted.pop()] = piece[_start(ends, first) : int(ends[first + covered - 1])].decode("utf-8").rstrip("\r\n")
        carried = piece[_start(ends, done) :]
        line += done
    return found


def line_ends(piece: bytes) -> NDArray[np.int64]:
    """Return the place behind every physical line: LF, CRLF or CR ends one, and so does the end of the piece."""
    codes = np.frombuffer(piece, dtype=np.uint8)
    is_end = codes == _LF
    if b"\r" in piece:
        lone = codes == _CR
        lone[:-1] &= codes[1:] != _LF
        is_end |= lone
    ends = np.flatnonzero(is_end).astype(np.int64) + 1
    return ends if len(ends) and ends[-1] == len(piece) else np.append(ends, np.int64(len(piece)))


def _start(ends: NDArray[np.int64], line: int) -> int:
    return int(ends[line - 1]) if line else 0


def _covered(piece: bytes, ends: NDArray[np.int64], first: int, dialect: Dialect, *, is_last: bool) -> int:
    """Return how many physical lines the record that begins at line `first` of the piece has; 0: more than are here."""
    only = piece[_start(ends, first) : int(ends[first])]
    if not any(mark and mark.encode() in only for mark in (dialect.quote, dialect.escape)):
        return 1
    taken: list[str] = []

    def lines() -> Iterator[str]:
        for number in range(first, min(first + RECORD_LINES, len(ends))):
            taken.append(piece[_start(ends, number) : int(ends[number])].decode("utf-8"))
            yield taken[-1]

    try:
        next(csv_reader(lines(), dialect), None)
    except csv.Error:
        return 1
    if first + len(taken) < len(ends) and len(taken) < RECORD_LINES:
        return len(taken)
    if not is_open(taken, dialect):
        return len(taken)
    return 1 if is_last or len(taken) >= RECORD_LINES else 0
