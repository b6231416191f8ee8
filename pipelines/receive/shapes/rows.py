"""An opened file of a known layout: records sifted (blank, title, footer, ragged), stamped with UTC, made into chunks."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import islice

import polars as pl

from pipelines.files.original import FileRefusedError
from pipelines.files.pieces import Chunk
from pipelines.plant.model import Layout
from pipelines.receive.containers.content import Content
from pipelines.receive.shapes import kinds, lab
from pipelines.receive.shapes.header import Header, dialect_of, header_at
from pipelines.receive.shapes.measurement_reader import MeasurementReader
from pipelines.receive.shapes.record_fields import Columns, blank, cleaned, times
from pipelines.receive.shapes.sections import Heading, Here, Stream, here, settled
from pipelines.receive.shapes.source_text import PieceWritten
from pipelines.receive.shapes.unknown_table import REFUSED_SCHEMA, UnknownTable
from pipelines.receive.text.reader import MOST_FIELDS, batches, in_text, records
from pipelines.receive.text.row_batch import OddRow, RowBatch, Width
from pipelines.receive.times.stamps import parse
from pipelines.receive.times.zones import Localiser

_JUDGE_FROM = 20  # data rows that must be seen before the parse rate is held against the declared one
_MOST_ODD = 100_000  # rows that do not have the header's columns; when they are also most of the file, it is another kind of file
_FEW_ROWS_RATE = 0.5  # a file of fewer rows is refused when less than this share has a readable time


@dataclass
class FileRows:
    """An opened file: yields chunks, and knows afterwards which reader was used.

    With `may_measure` a chunk of clean measurements has numbers in the place of texts (`Chunk.written`).
    """

    source: Content
    layout: Layout
    header: Header
    plant_zone: str
    reader: str = "fast"
    piece_bytes: int | None = None
    may_measure: bool = False
    clock_note: str | None = None  # what the stamps read so far say against the declared zone
    _seen: int = field(default=0, init=False)
    _unread: int = field(default=0, init=False)
    _judged: bool = field(default=False, init=False)
    _here: Here | None = field(default=None, init=False)
    _heading: Heading | None = field(default=None, init=False)
    _odd_rows: int = field(default=0, init=False)
    _records: int = field(default=0, init=False)

    def chunks(self) -> Iterator[Chunk]:
        """Yield the file's content in order; the records above the data come with the first chunk.

        Rows of a repeated hour at the end of a piece wait for the next one. FileRefusedError at any point.
        """
        size = self.piece_bytes or kinds.reading(self.layout).piece_bytes
        at = self.header.first_data_byte
        stream = Stream(self.source.pieces(self.layout, size, at), at)
        table: FileRows | UnknownTable | None = self
        while table is not None:
            following = yield from table.table(stream)
            self.reader = table.reader if table.reader == "exact" else self.reader
            self.clock_note = self.clock_note or table.clock_note
            table = None if following is None else self._after(following, stream)

    def table(self, stream: Stream) -> Generator[Chunk, None, Heading | None]:
        """Yield one table, which ends where the file does or another table begins; returns that one's heading."""
        self._begin()
        localiser, columns = Localiser(self.layout, self.plant_zone), Columns(self.layout, self.header)
        carried, held, above = lab.Carried(), None, self.header.records_before_data
        waiting = pl.DataFrame(schema=REFUSED_SCHEMA)  # refused rows that may be titles of the next table
        at, width = self.header.first_data_byte, Width(len(self.header.columns), self.header.least)
        how = kinds.reading(self.layout).measurements
        dialect, measurements = (
            dialect_of(self.layout),
            MeasurementReader(columns, how) if self.may_measure and how and self.layout.zone_column is None else None,
        )
        for batch in batches(stream, dialect, width, self.header.first_data_line, measurements):
            if batch.measured is not None:
                measured = self._measured(batch, columns, localiser) if held is None and not waiting.height else None
                if measured is not None:
                    yield replace(measured, rows_read=measured.rows_read + above, rows_dropped=measured.rows_dropped + above)
                    above, at = 0, at + batch.text_bytes
                    stream.forget(at)
                    continue
                batch = in_text(batch, dialect, width)
            self.reader = "exact" if batch.reader == "exact" else self.reader
            frame, refused, dropped, count = self._sifted(batch, columns, carried)
            self._refuse_mostly_odd(refused.height, count)
            refused, waiting, dropped, count = self._settled(waiting, refused, dropped, count)
            frame = frame if held is None else pl.concat([held, frame], how="vertical_relaxed")
            cut = localiser.open_from(times(frame))
            held = None if cut is None else frame[cut:]
            values, empty = kinds.reading(self.layout).values(frame if cut is None else frame[:cut], columns, localiser)
            yield self._chunk(values, refused, count + above, dropped + above + empty, batch)
            above = 0
            if self._heading is not None:
                stream.back_to(stream.byte_of(self._heading.line_no, batch.first_line, at))
                break
            at += batch.text_bytes
            stream.forget(at)
        self._judge(at_end=True)
        if held is not None or above or waiting.height:
            values, empty = (self._nothing(), 0) if held is None else kinds.reading(self.layout).values(held, columns, localiser)
            yield self._chunk(values, waiting, above + waiting.height, above + empty, None)
        self.clock_note = localiser.note
        return self._heading

    def _measured(self, batch: RowBatch, columns: Columns, localiser: Localiser) -> Chunk | None:
        """Return a piece of measurements as a chunk without texts; None when a time is not plain, or goes on in the next piece."""
        assert batch.measured is not None
        frame = batch.measured.frame
        stamps = parse(batch.measured.stamps, self.layout.time_format, batch.measured.stamp_codes)
        if not stamps.readable().all() or localiser.open_from(stamps) is not None:
            return None
        self._seen += frame.height
        self._judge(at_end=False)
        self._records += frame.height
        measurements = kinds.reading(self.layout).measurements
        assert measurements is not None
        written = PieceWritten(batch, columns, measurements)
        wanted = written if batch.measured.has_texts else None
        values, empty = measurements.values(frame, columns, localiser, stamps, wanted)
        return Chunk(values, pl.DataFrame(schema=REFUSED_SCHEMA), frame.height, empty, layout=self.layout, written=written)

    def _settled(
        self, waiting: pl.DataFrame, refused: pl.DataFrame, dropped: int, count: int
    ) -> tuple[pl.DataFrame, pl.DataFrame, int, int]:
        assert self._here is not None
        before = waiting.height
        refused, waiting, titles = settled(waiting, refused, self._here, self._heading)
        return refused, waiting, dropped + titles, count + before - waiting.height

    def _refuse_mostly_odd(self, odd: int, records: int) -> None:
        self._odd_rows += odd
        self._records += records
        if self._odd_rows > max(_MOST_ODD, self._records / 2):
            raise FileRefusedError("parse rate too low", f"{self._odd_rows} of {self._records} rows do not have the columns of the header")

    def _begin(self) -> None:
        self._seen, self._unread, self._judged, self._heading, self._odd_rows, self._records = 0, 0, False, None, 0, 0
        self._here = here(self.layout, self.header.columns, self.header.above)

    def _after(self, heading: Heading, stream: Stream) -> FileRows | UnknownTable:
        """Return the table that a heading begins, the stream standing at its first byte."""
        tables = self.header.tables
        assert tables is not None
        if heading.layout is None:
            return UnknownTable(self.layout, heading, tables, self._nothing())
        at, depth = stream.at, heading.layout.unit_row or 0
        head = list(islice(records(stream, dialect_of(heading.layout)), 1 + depth))
        header = header_at(0, head, heading.layout, tables)
        header = replace(header, first_data_line=header.first_data_line + heading.line_no - 1, first_data_byte=header.first_data_byte + at)
        stream.back_to(header.first_data_byte)
        return FileRows(self.source, heading.layout, header, self.plant_zone, piece_bytes=self.piece_bytes, may_measure=self.may_measure)

    def _chunk(self, values: pl.DataFrame, refused: pl.DataFrame, read: int, dropped: int, batch: RowBatch | None) -> Chunk:
        exact = (batch.records_exact, batch.exact_seconds) if batch is not None else (0, 0.0)
        return Chunk(values, refused, read, dropped, *exact, layout=self.layout)

    def _nothing(self) -> pl.DataFrame:
        """Return the values of no rows."""
        columns, names = Columns(self.layout, self.header), Width(len(self.header.columns), 0).names
        empty = pl.DataFrame(schema={"line_no": pl.UInt32, **dict.fromkeys(names, pl.String)})
        stamped = _with_times(empty, columns.stamps(empty, bare=True), self.layout.stamp_format)
        return kinds.reading(self.layout).values(stamped, columns, Localiser(self.layout, self.plant_zone))[0]

    def _sifted(self, batch: RowBatch, columns: Columns, carried: lab.Carried) -> tuple[pl.DataFrame, pl.DataFrame, int, int]:
        """Return (data rows with columns stamp, wall, instant, bare; refused rows; how many rows are no data; how many in all).

        What stands below the heading of another table is left out.
        """
        stamps, bare = columns.stamps(batch.frame, bare=batch.blanks == 0), columns.are_bare(batch.frame, batch.blanks)
        if self.layout.fills_down:
            stamps = carried.fill_down(batch.frame, columns, stamps)
        frame = _with_times(batch.frame, stamps, self.layout.stamp_format).with_columns(
            bare=pl.lit(bare), plain=pl.lit(not batch.has_marks)
        )
        unread = pl.col("wall").is_null() & pl.col("instant").is_null()
        doubtful, odd, silent = frame.filter(unread), batch.odd, frozenset[int]()
        if doubtful.height or odd:
            silent = self._look_for_a_heading(doubtful, odd)
            if self._heading is not None:
                is_above = pl.col("line_no") < self._heading.line_no
                frame, doubtful = frame.filter(is_above), doubtful.filter(is_above)
                odd = tuple(o for o in odd if o.line_no < self._heading.line_no)
        count = frame.height + len(odd)
        refused, dropped = self._odd(odd, silent)
        if self.layout.last_row_needs_line_end and not batch.has_line_end:
            frame, refused = self._without_partial(frame, refused)
        if doubtful.height:
            nothing = self._no_data(doubtful, silent)
            dropped += nothing.height
            if nothing.height:
                frame = frame.join(nothing.select("line_no"), on="line_no", how="anti", maintain_order="left")
        self._seen += frame.height
        self._unread += frame.height and int(frame.select(unread.sum()).item())
        self._judge(at_end=False)
        return frame, refused, dropped, count

    def _without_partial(self, frame: pl.DataFrame, refused: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
        """Move the last row of the file, which has no line end, to the refused ones unless it is there already."""
        last = frame["line_no"].max()
        if last is None or (refused.height and refused["line_no"].max() > last):  # type: ignore[operator]
            return frame, refused
        row = (last, "partial last row", "no line end; the last field may be cut", None)
        return frame.head(-1), pl.concat([refused, pl.DataFrame([row], schema=REFUSED_SCHEMA, orient="row")])

    def _look_for_a_heading(self, doubtful: pl.DataFrame, odd: Iterable[OddRow]) -> frozenset[int]:
        """Look for the heading of another table; returns the lines of its titles and of repeated unit rows."""
        assert self._here is not None
        if self.header.tables is None:
            return frozenset()
        names = [n for n in doubtful.columns if n[0] == "c"]
        rows = [(row[0], row[1:]) for row in doubtful.select("line_no", *names).iter_rows()]
        rows += [(o.line_no, o.fields) for o in odd if not o.note]
        self._heading = self.header.tables.first(sorted(rows), self._here)
        return frozenset(self._here.unit_lines) | (self._heading.titles if self._heading else frozenset())

    def _no_data(self, doubtful: pl.DataFrame, silent: frozenset[int]) -> pl.DataFrame:
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
        is_silent = pl.col("line_no").is_in(list(silent)) if silent else pl.lit(False)
        return cells.with_columns(repeated).filter(first.is_null() | is_footer | pl.col("repeated") | is_silent)

    def _odd(self, odd: Iterable[OddRow], silent: frozenset[int]) -> tuple[pl.DataFrame, int]:
        """Return (refused rows, how many odd rows are blank, footers or repeated titles)."""
        width, least, dropped = len(self.header.columns), self.header.least, 0
        words = tuple(w.strip().lower() for w in self.layout.footer_words)
        above = set(self.header.above)
        rows = []
        for o in odd:
            fields = tuple(f.strip() for f in o.fields)
            shown = [f for f in fields if f]
            if not o.note and (not shown or o.line_no in silent or (words and shown[0].lower().startswith(words)) or fields in above):
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


def _with_times(frame: pl.DataFrame, stamps: pl.Series, time_format: str) -> pl.DataFrame:
    times = parse(stamps, time_format)
    absent = {"wall": pl.Datetime("us"), "instant": pl.Datetime("us", "UTC")}
    sides = {
        name: (side if side is not None else pl.Series([None], dtype=kind).new_from_index(0, frame.height)).alias(name)
        for (name, kind), side in zip(absent.items(), (times.wall, times.instant), strict=True)
    }
    return frame.hstack([stamps.alias("stamp"), *sides.values()])
