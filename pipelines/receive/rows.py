"""An opened file of a known layout: records sifted (blank, title, footer, ragged), stamped with UTC, made into chunks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipelines.chunks import Chunk, FileRefusedError
from pipelines.plantfile import Layout
from pipelines.receive import lab, long, wide
from pipelines.receive.content import pieces
from pipelines.receive.dialect import PIECE_BYTES
from pipelines.receive.fields import Columns, blank, cleaned
from pipelines.receive.header import Header, dialect_of
from pipelines.receive.reader import MOST_FIELDS, OddRow, RowBatch, Width, batches
from pipelines.receive.stamps import Times, parse
from pipelines.receive.zones import Localiser

WIDE_PIECE_BYTES = 8 * 2**20  # a wide piece becomes one row a cell: a smaller piece for the same memory
REFUSED_SCHEMA = {"line_no": pl.UInt32, "reason": pl.String, "detail": pl.String, "raw_text": pl.String}
_JUDGE_FROM = 20  # data rows that must be seen before the parse rate is held against the declared one
_MOST_ODD = 100_000  # rows that do not have the header's columns; when they are also most of the file, it is another kind of file
_FEW_ROWS_RATE = 0.5  # a file of fewer rows is refused when less than this share has a readable time


@dataclass
class FileRows:
    """An opened file: yields chunks, and tells afterwards which reader served."""

    path: Path
    layout: Layout
    header: Header
    plant_zone: str
    reader: str = "fast"
    piece_bytes: int | None = None
    _seen: int = field(default=0, init=False)
    _unread: int = field(default=0, init=False)
    _judged: bool = field(default=False, init=False)
    _odd_rows: int = field(default=0, init=False)
    _records: int = field(default=0, init=False)

    def chunks(self) -> Iterator[Chunk]:
        """Yield the file's content in order; the records above the data come with the first chunk.

        Rows of a repeated hour at the end of a piece wait for the next one. FileRefusedError at any point.
        """
        self._seen, self._unread, self._judged, self._odd_rows, self._records = 0, 0, False, 0, 0
        localiser, columns = Localiser(self.layout, self.plant_zone), Columns(self.layout, self.header)
        carried, held, above = lab.Carried(), None, self.header.records_before_data
        for batch in self._batches():
            self.reader = "exact" if batch.reader == "exact" else self.reader
            frame, refused, dropped = self._sifted(batch, columns, carried)
            self._refuse_mostly_odd(refused.height, batch.records)
            frame = frame if held is None else pl.concat([held, frame], how="vertical_relaxed")
            cut = localiser.open_from(_times(frame))
            held = None if cut is None else frame[cut:]
            values, empty = self._values(frame if cut is None else frame[:cut], columns, localiser)
            yield Chunk(values, refused, batch.records + above, dropped + above + empty)
            above = 0
        self._judge(at_end=True)
        if held is not None or above:
            frame = self._no_rows(columns) if held is None else held
            values, empty = self._values(frame, columns, localiser)
            yield Chunk(values, pl.DataFrame(schema=REFUSED_SCHEMA), above, above + empty)

    def _refuse_mostly_odd(self, odd: int, records: int) -> None:
        self._odd_rows += odd
        self._records += records
        if self._odd_rows > max(_MOST_ODD, self._records / 2):
            raise FileRefusedError("parse rate too low", f"{self._odd_rows} of {self._records} rows do not have the columns of the header")

    def _batches(self) -> Iterator[RowBatch]:
        is_wide = self.layout.kind == "wide"
        size = self.piece_bytes or (WIDE_PIECE_BYTES if is_wide else PIECE_BYTES)
        first = self.header.first_data_line
        source = pieces(self.path, self.layout, size, self.header.first_data_byte)
        yield from batches(source, dialect_of(self.layout), Width(len(self.header.columns), self.header.least), first)

    def _no_rows(self, columns: Columns) -> pl.DataFrame:
        names = Width(len(self.header.columns), 0).names
        empty = pl.DataFrame(schema={"line_no": pl.UInt32, **dict.fromkeys(names, pl.String)})
        return _with_times(empty, columns.stamps(empty, bare=True), self.layout.time_format)

    def _sifted(self, batch: RowBatch, columns: Columns, carried: lab.Carried) -> tuple[pl.DataFrame, pl.DataFrame, int]:
        """Return (data rows with columns stamp, wall, instant, bare; refused rows; how many rows are no data)."""
        stamps, bare = columns.stamps(batch.frame, bare=batch.blanks == 0), columns.are_bare(batch.frame, batch.blanks)
        refused, dropped = self._odd(batch.odd)
        if self.layout.kind == "lab wide":
            stamps = carried.fill_down(batch.frame, stamps, self.layout.footer_words)
        frame = _with_times(batch.frame, stamps, self.layout.time_format).with_columns(bare=pl.lit(bare))
        unread = pl.col("wall").is_null() & pl.col("instant").is_null()
        doubtful = frame.filter(unread)
        if doubtful.height:
            nothing = self._no_data(doubtful)
            dropped += nothing.height
            if nothing.height:
                frame = frame.join(nothing.select("line_no"), on="line_no", how="anti", maintain_order="left")
        self._seen += frame.height
        self._unread += frame.height and int(frame.select(unread.sum()).item())
        self._judge(at_end=False)
        return frame, refused, dropped

    def _no_data(self, doubtful: pl.DataFrame) -> pl.DataFrame:
        """Return those rows without a readable time that are blank, a footer, or stand above the data already."""
        names = [n for n in doubtful.columns if n[0] == "c"]
        cells = doubtful.select("line_no", *(cleaned(n) for n in names))
        first = pl.coalesce(pl.when(~blank(n)).then(pl.col(n)) for n in names)
        is_footer = pl.lit(False)
        for word in self.layout.footer_words:
            is_footer = is_footer | first.str.to_lowercase().str.starts_with(word.strip().lower()).fill_null(False)
        width = len(names)
        above = {(*row, *[""] * (width - len(row)))[:width] for row in self.header.above}
        repeated = pl.Series(
            "repeated",
            [row[1:] in above for row in cells.select("line_no", *(pl.col(n).str.strip_chars() for n in names)).iter_rows()],
            dtype=pl.Boolean,
        )
        return cells.with_columns(repeated).filter(first.is_null() | is_footer | pl.col("repeated"))

    def _odd(self, odd: Iterable[OddRow]) -> tuple[pl.DataFrame, int]:
        """Return (refused rows, how many odd rows are blank, footers or repeated titles)."""
        width, least, dropped = len(self.header.columns), self.header.least, 0
        words = tuple(w.strip().lower() for w in self.layout.footer_words)
        above = set(self.header.above)
        rows = []
        for o in odd:
            fields = tuple(f.strip() for f in o.fields)
            shown = [f for f in fields if f]
            if not o.note and (not shown or (words and shown[0].lower().startswith(words)) or fields in above):
                dropped += 1
            elif o.note:
                rows.append((o.line_no, "row has too few fields", o.note, o.raw))
            elif len(fields) > width:
                rows.append((o.line_no, "row has too many fields", f"{_count(fields)} fields, the header has {least}", o.raw))
            elif not o.ended:
                rows.append((o.line_no, "partial last row", f"{len(fields)} of {least} fields and no line end", o.raw))
            else:
                rows.append((o.line_no, "row has too few fields", f"{len(fields)} fields, the header has {least}", o.raw))
        return pl.DataFrame(rows, schema=REFUSED_SCHEMA, orient="row"), dropped

    def _values(self, frame: pl.DataFrame, columns: Columns, localiser: Localiser) -> tuple[pl.DataFrame, int]:
        """Return (values of a chunk, how many rows gave none)."""
        tags = columns.tags(frame) if self.layout.kind == "long" else None
        stamped = localiser.to_utc(_times(frame), tags)
        if tags is not None:
            return long.values(frame, columns, stamped, tags)
        if self.layout.kind == "wide":
            return wide.values(frame, columns, stamped)
        return lab.values(frame, columns, stamped)

    def _judge(self, *, at_end: bool) -> None:
        """Refuse the file when too few rows have a readable time: once 20 rows were seen, and at the end."""
        if self._seen == 0 or (not at_end and (self._judged or self._seen < _JUDGE_FROM)):
            return
        self._judged = True
        needed = self.layout.minimum_parse_rate if self._seen >= _JUDGE_FROM else min(_FEW_ROWS_RATE, self.layout.minimum_parse_rate)
        if self._seen - self._unread < needed * self._seen:
            raise FileRefusedError(
                "parse rate too low", f"{self._unread} of {self._seen} rows have a time that does not fit {self.layout.time_format!r}"
            )


def _count(fields: tuple[str, ...]) -> str:
    return str(len(fields)) if len(fields) < MOST_FIELDS else f"{MOST_FIELDS} or more"


def _times(frame: pl.DataFrame) -> Times:
    wall, instant = frame["wall"], frame["instant"]
    return Times(wall if wall.null_count() < len(wall) or not len(wall) else None, instant)


def _with_times(frame: pl.DataFrame, stamps: pl.Series, time_format: str) -> pl.DataFrame:
    times = parse(stamps, time_format)
    absent = {"wall": pl.Datetime("us"), "instant": pl.Datetime("us", "UTC")}
    sides = {
        name: (side if side is not None else pl.Series([None], dtype=kind).new_from_index(0, frame.height)).alias(name)
        for (name, kind), side in zip(absent.items(), (times.wall, times.instant), strict=True)
    }
    return frame.hstack([stamps.alias("stamp"), *sides.values()])
