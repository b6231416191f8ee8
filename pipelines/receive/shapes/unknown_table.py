"""A table without a matching layout: its rows are set aside up to the next known header."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import polars as pl

from pipelines.files.pieces import Chunk
from pipelines.plant.model import Layout
from pipelines.receive.shapes.sections import Heading, Here, Stream, Tables, here, settled
from pipelines.receive.text.dialect import Dialect
from pipelines.receive.text.reader import batches
from pipelines.receive.text.row_batch import RowBatch, Width

REFUSED_SCHEMA = {"line_no": pl.UInt32, "reason": pl.String, "detail": pl.String, "raw_text": pl.String}
_DETAIL_LONGEST = 300  # characters
_Row = tuple[int, tuple[str, ...], str | None, str]  # line, fields, raw text (None: looked up later), note


@dataclass
class UnknownTable:
    """The rows below a heading that fits no layout; `nothing` are the values of no rows."""

    layout: Layout
    heading: Heading
    tables: Tables
    nothing: pl.DataFrame
    reader: str = "fast"
    clock_note: str | None = None

    def table(self, stream: Stream) -> Generator[Chunk, None, Heading | None]:
        """Yield the table's rows as refused ones; returns the heading of the table behind it."""
        at, place, first = stream.at, here(self.layout, (), ()), self.heading.line_no
        waiting = pl.DataFrame(schema=REFUSED_SCHEMA)
        dialect = Dialect(self.layout.encoding, self.layout.delimiter, self.layout.quote, self.layout.escape)
        for batch in batches(stream, dialect, Width.strictly(1), first):
            self.reader = "exact" if batch.reader == "exact" else self.reader
            rows = _rows(batch)
            found = self.tables.first([(line, fields) for line, fields, _, note in rows if line != first and not note], place)
            if found is not None:
                rows = [row for row in rows if row[0] < found.line_no]
            refused = [self._told(row) for row in rows if _is_refused(row, place, found)]
            frame, before = pl.DataFrame(refused, schema=REFUSED_SCHEMA, orient="row"), waiting.height
            frame, waiting, titles = settled(waiting, frame, place, found)
            dropped = len(rows) - len(refused) + titles
            yield Chunk(self.nothing, frame, len(rows) + before - waiting.height, dropped, batch.records_exact, batch.exact_seconds)
            if found is not None:
                stream.back_to(stream.byte_of(found.line_no, batch.first_line, at))
                return found
            at += batch.text_bytes
            stream.forget(at)
        if waiting.height:
            yield Chunk(self.nothing, waiting, waiting.height, 0)
        return None

    def _told(self, row: _Row) -> tuple[int, str, str, str | None]:
        names = ", ".join(repr(n) for n in self.heading.columns if n)
        detail = f"no layout of the plant file knows the table that begins in line {self.heading.line_no} with {names}"
        return row[0], "unknown layout", detail[:_DETAIL_LONGEST], row[2]


def _rows(batch: RowBatch) -> list[_Row]:
    rows: list[_Row] = [(line, (text,), None, "") for line, text in batch.frame.iter_rows()]
    rows += [(o.line_no, o.fields, o.raw, o.note) for o in batch.odd]
    return sorted(rows, key=lambda row: row[0])


def _is_refused(row: _Row, place: Here, found: Heading | None) -> bool:
    """Return whether a row is more than a blank one, a footer, or a title of the table behind."""
    line, fields, _, note = row
    shown = [f for f in (x.strip() for x in fields) if f]
    is_title = found is not None and line in found.titles
    return bool(note) or not (not shown or is_title or place.is_footer(shown[0]))
