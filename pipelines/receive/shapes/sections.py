"""Several tables in one file: where a further one begins, by which layout it is read, and the way back to its first byte.

A row without a readable time begins another table when it is a header: it holds all columns that a layout of the plant
file needs, in another order or of another layout than the table above; or it is a row of names of no known layout. Nothing
below such a row may be read with the columns above it, so an unknown table is set aside up to the next header that fits.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice

import polars as pl

from pipelines.plant.model import Layout, PlantFile
from pipelines.receive.shapes.unit_row import compare_units

SMALLEST_PART = 64 * 2**10  # pieces behind a further header begin so small, so that many short tables cost no more than one long
_NUMBER = re.compile(r"[+-]?[\d.,'\s]+([eE][+-]?\d+)?")
_MOST_TITLES = 100  # rows between two tables that are held to be titles of the second
_LEAST_NAMES = 2  # a row of fewer words is a title, not a header
_LINE_END = re.compile(rb"\r\n|\n|\r")


class Stream:
    """The UTF-8 pieces of a file, with a way back to any byte that was not yet forgotten."""

    def __init__(self, parts: Iterator[bytes], at: int) -> None:
        self._parts, self._at = parts, at  # `at`: first byte of the piece given next
        self._given: deque[tuple[int, bytes]] = deque()
        self._again: deque[bytes] = deque()

    def __iter__(self) -> Iterator[bytes]:
        return self

    def __next__(self) -> bytes:
        piece = self._again.popleft() if self._again else next(self._parts)
        self._given.append((self._at, piece))
        self._at += len(piece)
        return piece

    @property
    def at(self) -> int:
        """Return the first byte of the piece given next."""
        return self._at

    def forget(self, before: int) -> None:
        """Let go of the pieces that end at or before a byte."""
        while self._given and self._given[0][0] + len(self._given[0][1]) <= before:
            self._given.popleft()

    def byte_of(self, line: int, first_line: int, first_byte: int) -> int:
        """Return the byte at which a line begins, counted from a line and byte that were not forgotten."""
        if line == first_line:
            return first_byte
        text = b"".join(p[max(first_byte - start, 0) :] for start, p in self._given if start + len(p) > first_byte)
        lines = line - first_line
        return first_byte + next(islice(_LINE_END.finditer(text), lines - 1, None)).end()

    def back_to(self, byte: int) -> None:
        """Give the text from a byte on again, in pieces that begin small and grow."""
        rest = [p[max(byte - start, 0) :] for start, p in self._given if start + len(p) > byte]
        self._given.clear()
        self._again = deque(part for piece in [*rest, *self._again] for part in _growing(piece))
        self._at = byte


def _growing(piece: bytes) -> Iterator[bytes]:
    at, size = 0, SMALLEST_PART
    while at < len(piece):
        end = len(piece)
        if at + size < end:
            end = max(piece.rfind(b"\n", at, at + size), piece.rfind(b"\r", at, at + size - 1)) + 1
        if end > at:
            yield piece[at:end]
            at = end
        size *= 2


@dataclass(frozen=True)
class Heading:
    """The row that begins another table: its line, its layout (None: no layout knows it), and the titles above it."""

    line_no: int
    layout: Layout | None
    columns: tuple[str, ...]
    titles: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Tables:
    """Recognises headers of a plant's layouts among rows of data; `layouts` share one dialect."""

    layouts: tuple[Layout, ...]
    plant_file: PlantFile

    def first(self, rows: Iterable[tuple[int, Sequence[str]]], here: Here) -> Heading | None:
        """Return the first heading among rows without a readable time (in order of line), or None."""
        before, run = here.quiet_line, list(here.quiet_lines)  # the last quiet row, and the unbroken run it ends
        times = {name.strip() for x in self.layouts for name in (x.time_column, x.date_column) if name}
        for line, given in rows:
            fields = _trimmed(given)
            shown = [f for f in fields if f]
            follows = before == line - 1
            if self._is_unit_row(line, fields, here):
                continue
            if len(shown) < _LEAST_NAMES or here.is_footer(shown[0]):
                run = [*run, line] if follows and len(run) < _MOST_TITLES else [line]
                before = line
                continue
            known, columns = self._known(line, fields, here)
            if columns and (known or not times.isdisjoint(fields) or (follows and self._are_names(fields))):
                return Heading(line, known, columns, frozenset(run if follows else ()))
        here.quiet_line, here.quiet_lines = before, frozenset(run)
        return None

    def _is_unit_row(self, line: int, fields: tuple[str, ...], here: Here) -> bool:
        """Return whether a row is the unit row of a repeated header, in other words; other units refuse the file."""
        if not here.unit_depth or line != here.header_line + here.unit_depth or any(_NUMBER.fullmatch(f) for f in fields if f):
            return False
        compare_units(dict(zip(here.columns, fields, strict=False)), here.layout, self.plant_file)
        here.unit_lines.add(line)
        return True

    def _known(self, line: int, fields: tuple[str, ...], here: Here) -> tuple[Layout | None, tuple[str, ...]]:
        """Return (layout whose header a row is, its fields); no fields for a row that stood above the data already."""
        if fields in here.above:
            here.header_line = line if fields == here.columns else here.header_line
            return None, ()
        one_row = (x for x in self.layouts if x.header_rows == 1)  # headers of several rows stand at the beginning of a file
        return next((x for x in one_row if fits(fields, x, self.plant_file)), None), fields

    def _are_names(self, fields: tuple[str, ...]) -> bool:
        """Return whether all these could be column names and none a value, a time or a tag."""
        shown = [f for f in fields if f]
        if len(set(shown)) < len(shown) or any(_NUMBER.fullmatch(f) or not re.search(r"[^\W\d_]", f) for f in shown):
            return False
        told = {f.lower() for x in self.layouts for f in x.fill_values} | {
            w.lower() for s in self.plant_file.signals for w in (*s.on_words, *s.off_words, *s.part_words)
        }
        if any(f.lower() in told for f in shown) or re.search(r"\d", fields[0]):
            return False
        return not {s.tag.strip() for s in self.plant_file.signals} & set(shown)


@dataclass
class Here:
    """Reading position within one table, for the search for the next one."""

    layout: Layout
    columns: tuple[str, ...]
    above: frozenset[tuple[str, ...]]
    unit_depth: int
    footers: tuple[str, ...]
    header_line: int = -1
    quiet_line: int = -1  # last row that was blank, a title or a footer
    quiet_lines: frozenset[int] = frozenset()
    unit_lines: set[int] = field(default_factory=set)

    def is_footer(self, first: str) -> bool:
        return bool(self.footers) and first.lower().startswith(self.footers)


def settled(waiting: pl.DataFrame, refused: pl.DataFrame, place: Here, found: Heading | None) -> tuple[pl.DataFrame, pl.DataFrame, int]:
    """Return (rows to refuse now, rows that wait for the next piece, how many are titles after all).

    A refused row of one word may be the title of a table whose header the next piece brings.
    """
    if not waiting.height and not refused.height:
        return refused, waiting, 0
    rows = pl.concat([waiting, refused])
    if found is not None:
        is_title = pl.col("line_no").is_in(list(found.titles))
        kept = rows.filter(~is_title)
        return kept, rows.head(0), rows.height - kept.height
    waits = pl.col("line_no").is_in(list(place.quiet_lines))
    return rows.filter(~waits), rows.filter(waits), 0


def here(layout: Layout, columns: Sequence[str], above: Iterable[Sequence[str]]) -> Here:
    """Return the start of a table's reading."""
    footers = tuple(w.strip().lower() for w in layout.footer_words)
    trimmed = frozenset(_trimmed(row) for row in above)
    return Here(layout, _trimmed(columns), trimmed, layout.unit_row or 0, footers)


def _trimmed(fields: Sequence[str]) -> tuple[str, ...]:
    """Return fields without blanks round them, and without blank ones at the end."""
    texts = [f.strip() for f in fields]
    while texts and not texts[-1]:
        texts.pop()
    return tuple(texts)


def has_values(columns: Sequence[str], layout: Layout, plant_file: PlantFile) -> bool:
    """Return whether a header names a value that the plant file knows."""
    return layout.has_values(columns, (s.tag for s in plant_file.signals))


def fits(columns: Sequence[str], layout: Layout, plant_file: PlantFile) -> bool:
    """Return whether a row is a header of a layout: each needed column stands in it exactly once, and something to read."""
    return all(columns.count(name) == 1 for name in layout.header_columns) and has_values(columns, layout, plant_file)
