"""Records of a piece of a file: as columns where they have the fields of the header, one by one where not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl

from pipelines.receive.text.measured import Measured


@dataclass(frozen=True, slots=True)
class OddRow:
    """A record whose number of fields does not fit."""

    line_no: int
    fields: tuple[str, ...]
    raw: str
    ended: bool  # false: the last line of the file has no line end
    note: str = ""


@dataclass(frozen=True)
class RowBatch:
    """Records of a piece: `frame` has line_no (UInt32) and columns c0..c{n-1} (String); other records are in `odd`.

    `measured` has the records where `measurements` read them; `in_text` gives such a batch as text.
    `blanks`: how many blanks all fields hold together, when there is no other white space, apostrophe or equals sign; else -1.
    `has_marks`: there may be an apostrophe or equals sign.
    `records_exact` of the records needed the exact reader, which took `exact_seconds`. `text_bytes` of the text in UTF-8 are
    covered, from physical line `first_line` on; they end with a line end unless the file ends without one.
    """

    frame: pl.DataFrame
    odd: tuple[OddRow, ...]
    records: int
    reader: str  # "fast" or "exact"
    blanks: int = -1
    has_marks: bool = True
    records_exact: int = 0
    exact_seconds: float = 0.0
    text_bytes: int = 0
    first_line: int = 1
    has_line_end: bool = True
    measured: Measured | None = None  # in the place of `frame`, which is empty then
    piece: bytes = b""  # what `measured` was read from

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Yield (physical line, fields) of every record in order, whatever its number of fields; one never closed has none."""
        odd = iter(self.odd)
        waiting = next(odd, None)
        for line, *fields in self.frame.iter_rows():
            while waiting is not None and waiting.line_no < line:
                yield waiting.line_no, list(waiting.fields)
                waiting = next(odd, None)
            yield line, fields
        while waiting is not None:
            yield waiting.line_no, list(waiting.fields)
            waiting = next(odd, None)


@dataclass(frozen=True)
class Width:
    """How many fields a record has; from `least` on missing ones are blank, and blank ones too many do not count."""

    full: int
    least: int

    @classmethod
    def strictly(cls, full: int) -> Width:
        """Return the width of a file whose ragged rows are all odd."""
        return cls(full, -1)

    @property
    def names(self) -> list[str]:
        return [f"c{i}" for i in range(self.full)]

    def fitted(self, fields: list[str]) -> list[str] | None:
        """Return the fields in full width, or None when they do not fit."""
        if len(fields) == self.full:
            return fields
        if self.least >= 0 and fields == [""]:  # a blank line; there may be millions
            return [""] * self.full
        if self.least < 0 or len(fields) < self.least or any(f.strip() for f in fields[self.full :]):
            return None
        return [*fields[: self.full], *[""] * (self.full - len(fields))]
