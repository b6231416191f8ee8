"""Numbered text rows of any delimited file: a fast reader where the bytes prove it safe, an exact one elsewhere.

Both give the same rows. Fast: pieces whose every line feed ends a record, split by polars; lines with quotes are
taken along when each proves to be one whole record. Exact: the csv module (`exact.py`), piece by piece. Where a reader of
measurements is given (`measurements.py`), it is asked first.
"""

from __future__ import annotations

import csv
import re
from codecs import BOM_UTF8
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from pipelines.base import clock
from pipelines.files.original import FileRefusedError
from pipelines.plant.layout_checks import BLANKS
from pipelines.receive.text.dialect import ONE_SIGN, PIECE_BYTES, Dialect, pieces, whole_lines
from pipelines.receive.text.exact_reader import UNCLOSED, Block, blocks, csv_reader, refuse_endless, text_lines
from pipelines.receive.text.measured import ReadsPieces
from pipelines.receive.text.row_batch import OddRow, RowBatch, Width

_MARK = "\x01"  # a byte no text file holds: splits lines off as one field
MOST_FIELDS = 10_000  # fields of an odd row that are kept apart; its raw text has all
_SMALL = 256 * 2**10  # up to here the exact reader is as quick as any
_FIRST_BYTES = 64 * 2**10  # in which the first record is looked for
_SAMPLES, _SAMPLE_BYTES = 256, 64  # of a piece, to see how long its lines are: some 30 us
_DENSE = _SAMPLES * _SAMPLE_BYTES // 8  # line ends in them when lines are shorter than 8 bytes: no export of values
_DENSE_BYTES = 2**18
_PART_BYTES = 512 * 2**10  # a piece that is not fast as a whole is taken in parts of this size


def read_rows(path: Path, dialect: Dialect, *, piece_bytes: int = PIECE_BYTES) -> Iterator[RowBatch]:
    """Yield numbered text rows of a whole file; the width is that of its first record.

    The first record (a header, if there is one) comes as a row like any other. FileRefusedError as in `pieces`.
    """
    first = next(records(pieces(path, dialect.encoding, min(piece_bytes, _FIRST_BYTES)), dialect), None)
    if first is not None:
        yield from batches(pieces(path, dialect.encoding, piece_bytes), dialect, Width.strictly(max(len(first[1]), 1)), 1)


def records(parts: Iterator[bytes], dialect: Dialect) -> Iterator[tuple[int, list[str], str]]:
    """Yield (physical line from 1, fields, raw text) of every record, exactly; for the head of a file."""
    for first_line, lines, block in _blocks(parts, dialect, 1):
        for i, fields in enumerate(block.rows):
            a, b = block.starts[i], block.starts[i + 1]
            yield first_line + a, fields, "".join(lines[a:b])


def batches(
    parts: Iterable[bytes], dialect: Dialect, width: Width, first_line: int, measurements: ReadsPieces | None = None
) -> Iterator[RowBatch]:
    """Yield the records of UTF-8 pieces, each piece read fast when that is safe and else exactly; typed by `measurements` if it can."""
    line, carried = first_line, b""
    for piece, is_last in _with_last(_thinned(parts)):
        whole = carried + piece if carried else piece
        first, ended = line, not is_last or whole.endswith((b"\n", b"\r"))
        batch = _fast_piece(whole, dialect, width, line, measurements)
        if batch is not None:
            yield replace(batch, text_bytes=len(whole), first_line=first, has_line_end=ended)
            line, carried = line + batch.records, b""
            continue
        found, line, carried = _piecemeal(whole, dialect, width, line, is_last=is_last)
        if found:
            yield replace(_joined(found), text_bytes=len(whole) - len(carried), first_line=first, has_line_end=ended)


def in_text(batch: RowBatch, dialect: Dialect, width: Width) -> RowBatch:
    """Return a measured batch as text."""
    batch_in_text = _fast_piece(batch.piece, dialect, width, batch.first_line)
    assert batch_in_text is not None, "a measured piece is fast"
    return replace(batch_in_text, text_bytes=batch.text_bytes, first_line=batch.first_line, has_line_end=batch.has_line_end)


def split_lines(raw: pl.Series, full: int, delimiter: str) -> pl.DataFrame:
    """Return the fields of lines without quotes, each with all of them: columns c0..c{n-1} (String)."""
    return _read(("\n".join(raw.to_list()) + "\n").encode("utf-8"), Width.strictly(full).names, delimiter, None)


def _thinned(parts: Iterable[bytes]) -> Iterator[bytes]:
    """Cut pieces of very short lines, judged by samples of them, into smaller ones: a line costs memory whatever its length."""
    for piece in parts:
        step = len(piece) // _SAMPLES
        if step > _SAMPLE_BYTES and sum(piece.count(b"\n", i, i + _SAMPLE_BYTES) for i in range(0, len(piece), step)) > _DENSE:
            yield from whole_lines(piece[i : i + _DENSE_BYTES] for i in range(0, len(piece), _DENSE_BYTES))
        else:
            yield piece


def _piecemeal(piece: bytes, dialect: Dialect, width: Width, line: int, *, is_last: bool) -> tuple[list[RowBatch], int, bytes]:
    """Return a piece that is not fast as a whole in small parts, each fast or exact; the line behind them; the bytes of a
    record that goes on in the next piece.
    """
    found: list[RowBatch] = []
    carried = b""
    small = whole_lines(piece[i : i + _PART_BYTES] for i in range(0, len(piece), _PART_BYTES))
    for part, is_last_part in _with_last(small):
        whole = carried + part
        batch = _fast_piece(whole, dialect, width, line) if len(piece) > _PART_BYTES else None
        if batch is not None:
            found.append(batch)
            line, carried = line + batch.records, b""
            continue
        started = clock.stopwatch()
        lines, done, before = text_lines(whole, line), 0, len(found)
        for block in blocks(lines, dialect, is_last=is_last and is_last_part):
            found.append(_exact(block.rows, block.starts, lines, width, line, unclosed=block.unclosed))
            done = block.starts[-1]
        carried = "".join(lines[done:]).encode("utf-8")
        line += done
        if len(found) > before:
            found[-1] = replace(found[-1], exact_seconds=clock.stopwatch() - started)
    return found, line, carried


def _joined(found: list[RowBatch]) -> RowBatch:
    """Return the batches of one piece as one."""
    if len(found) == 1:
        return found[0]
    return RowBatch(
        pl.concat([b.frame for b in found]),
        tuple(o for b in found for o in b.odd),
        sum(b.records for b in found),
        "exact" if any(b.reader == "exact" for b in found) else "fast",
        records_exact=sum(b.records_exact for b in found),
        exact_seconds=sum(b.exact_seconds for b in found),
    )


def _blocks(parts: Iterator[bytes], dialect: Dialect, line: int) -> Iterator[tuple[int, list[str], Block]]:
    carried = b""
    for piece, is_last in _with_last(parts):
        lines, done = text_lines(carried + piece, line), 0
        for block in blocks(lines, dialect, is_last=is_last):
            yield line, lines, block
            done = block.starts[-1]
        carried = "".join(lines[done:]).encode("utf-8")
        line += done


def _with_last(parts: Iterator[bytes]) -> Iterator[tuple[bytes, bool]]:
    """Yield each piece and whether it is the last one."""
    held = next(parts, None)
    while held is not None:
        following = next(parts, None)
        yield held, following is None
        held = following


def _fast_piece(piece: bytes, dialect: Dialect, width: Width, line: int, measurements: ReadsPieces | None = None) -> RowBatch | None:
    """Return the piece by the fast reader, or None when it is not proved that both readers agree on it."""
    if dialect.is_long:
        return _long_delimiter(piece, dialect, width, line)
    if len(dialect.delimiter.encode()) > 1 or _MARK.encode() in piece or (dialect.escape and dialect.escape.encode() in piece):
        return None
    if piece.startswith(BOM_UTF8):  # not at the file's beginning, so a sign of the field; polars would leave it out
        return None
    returns = piece.count(b"\r") if b"\r" in piece else 0
    if returns and returns != piece.count(b"\r\n"):
        return None
    if dialect.quote and dialect.quote.encode() in piece:
        return _quoted(piece, dialect, width, line) if len(piece) > _SMALL else None
    measured = measurements.read(piece, line) if measurements is not None else None
    if measured is not None:
        return RowBatch(pl.DataFrame(), (), measured.frame.height, "fast", measured=measured, piece=piece)
    return _split(piece, dialect, width, line, returns) or _by_line(_raw(piece, line), piece, dialect, width, line)


def _long_delimiter(piece: bytes, dialect: Dialect, width: Width, line: int) -> RowBatch | None:
    """Return a piece without quotes whose fields are parted by several characters; None when it is left to the exact reader."""
    marks = (dialect.quote, dialect.escape, _MARK, ONE_SIGN)
    if any(mark and mark.encode() in piece for mark in marks) or piece.count(b"\r") != piece.count(b"\r\n") or BOM_UTF8 in piece[:3]:
        return None
    raw = _raw(piece, line)
    text = pl.col("raw").str.strip_chars(" \t").str.replace_all(r"[ \t]+", ONE_SIGN)
    if dialect.delimiter != BLANKS:
        text = pl.col("raw").str.replace_all(dialect.delimiter, ONE_SIGN, literal=True)
    batch = _by_line(raw.with_columns(text.alias("raw")), piece, replace(dialect, delimiter=ONE_SIGN), width, line)
    texts = dict(raw.filter(pl.col("line_no").is_in([o.line_no for o in batch.odd])).iter_rows()) if batch.odd else {}
    return replace(batch, odd=tuple(replace(o, raw=texts[o.line_no]) for o in batch.odd))


def _split(piece: bytes, dialect: Dialect, width: Width, line: int, returns: int) -> RowBatch | None:
    """Return the piece as columns, or None unless every line has exactly the full number of fields.

    A line with too many fields is an error of polars; one with too few shows in the sum of bytes: fields,
    delimiters and line ends must make up the piece.
    """
    if width.full == 1 or piece.endswith(dialect.delimiter.encode()):  # polars leaves out one last delimiter at the very end
        return None
    try:
        frame = _read(piece, width.names, dialect.delimiter, None)
    except (
        pl.exceptions.ComputeError,
        pl.exceptions.SchemaError,
    ):  # a line with too many fields, bytes that are not UTF-8; a short first line
        return None
    ends = frame.height + returns - (not piece.endswith(b"\n"))
    text_bytes = sum(frame.select(pl.all().str.len_bytes().sum().cast(pl.Int64)).row(0))
    if text_bytes + frame.height * (width.full - 1) + ends != len(piece) or (returns and returns != piece.count(b"\n")):
        return None
    has_marks = b"'" in piece or b"=" in piece
    return RowBatch(frame.with_row_index("line_no", offset=line), (), frame.height, "fast", _blanks(piece, has_marks), has_marks)


def _blanks(piece: bytes, has_marks: bool) -> int:
    if has_marks or not piece.isascii() or any(mark in piece for mark in (b"\t", b"\x0b", b"\x0c")):
        return -1
    return piece.count(b" ") if b" " in piece else 0


def _read(piece: bytes, names: list[str], delimiter: str, quote: str | None) -> pl.DataFrame:
    return pl.read_csv(
        piece,
        has_header=False,
        schema=dict.fromkeys(names, pl.String),
        separator=delimiter,
        quote_char=quote,
        empty_string_is_null=False,
    )


def _raw(piece: bytes, line: int) -> pl.DataFrame:
    """Return the lines of a piece: line_no, raw."""
    try:
        raw = _read(piece, ["raw"], _MARK, None)
    except pl.exceptions.ComputeError as error:
        text_lines(piece, line)  # names line and byte
        raise FileRefusedError("file not readable", f"near line {line}: {error}") from error
    refuse_endless(raw["raw"].str.len_bytes().max() or 0)  # type: ignore[arg-type]
    lines = piece.count(b"\n") + (not piece.endswith(b"\n"))
    if raw.height != lines:
        raw = pl.DataFrame({"raw": piece.decode("utf-8").replace("\r\n", "\n").removesuffix("\n").split("\n")})
    return raw.with_row_index("line_no", offset=line)


def _by_line(raw: pl.DataFrame, piece: bytes, dialect: Dialect, width: Width, line: int) -> RowBatch:
    """Return unquoted lines: those that fit as columns, the others as odd rows."""
    names = width.names
    fields = pl.col("raw").str.splitn(dialect.delimiter, width.full + 1).struct.rename_fields([*names, "rest"])
    cut = raw.with_columns(fields.alias("s")).unnest("s")
    if width.least < 0:
        fits = pl.col(names[-1]).is_not_null() & pl.col("rest").is_null()
    else:
        too_many = pl.col("rest").str.replace_all(dialect.delimiter, "", literal=True).str.strip_chars()
        fits = pl.col(names[max(width.least, 1) - 1]).is_not_null() & (too_many.fill_null("") == "") | (pl.col("raw") == "")
    cut = cut.with_columns(fits=fits)
    frame = cut.filter("fits").select("line_no", *(pl.col(n).fill_null("") for n in names))
    last, ended = line + raw.height - 1, piece.endswith(b"\n")
    odd = tuple(
        OddRow(number, tuple(text.split(dialect.delimiter, MOST_FIELDS)[:MOST_FIELDS]), text, ended or number != last)
        for number, text in cut.filter(~pl.col("fits")).select("line_no", "raw").iter_rows()
    )
    return RowBatch(frame, odd, raw.height, "fast")


def _quoted(piece: bytes, dialect: Dialect, width: Width, line: int) -> RowBatch | None:
    """Return a piece with quotes, or None when a quoted field may hold a line end.

    Where every quote of every line opens or closes a whole field, polars reads the quotes. Else the lines with quotes
    go to the csv module, which in strict mode takes exactly one record from each or shows that it does not.
    """
    raw, quote = _raw(piece, line), dialect.quote or ""
    q, d = re.escape(quote), re.escape(dialect.delimiter)
    field = f"(?:{q}[^{q}]*{q}|[^{q}{d}]*)"
    if (
        width.full > 1
        and not piece.endswith(dialect.delimiter.encode())
        and raw.select(pl.col("raw").str.contains(f"^{field}(?:{d}{field}){{{width.full - 1}}}$").all()).item()
    ):
        frame = _read(piece, width.names, dialect.delimiter, quote)
        if frame.height == raw.height:
            return RowBatch(frame.with_row_index("line_no", offset=line), (), frame.height, "fast")
    has_quote = pl.col("raw").str.contains(quote, literal=True)
    quoted = raw.filter(has_quote)
    texts = quoted["raw"].to_list()
    try:
        rows = list(csv_reader(iter(texts), dialect, strict=True))
    except csv.Error:
        return None
    if len(rows) != len(texts):
        return None
    unquoted = _by_line(raw.filter(~has_quote), piece, dialect, width, line)
    number = [*quoted["line_no"].to_list(), line + raw.height]
    taken = _frames([r or [""] for r in rows], number, texts, width)
    last, ended = line + raw.height - 1, piece.endswith(b"\n")
    odd = [OddRow(o.line_no, o.fields, o.raw, ended or o.line_no != last) for o in (*unquoted.odd, *taken.odd)]
    frame = pl.concat([unquoted.frame, taken.frame]).sort("line_no")
    return RowBatch(frame, tuple(sorted(odd, key=lambda o: o.line_no)), raw.height, "fast")


def _exact(rows: list[list[str]], starts: list[int], lines: list[str], width: Width, line: int, *, unclosed: bool) -> RowBatch:
    raws = _Raws(lines, starts)
    if unclosed:
        raw = raws[0]
        odd = (OddRow(line + starts[0], (), raw.rstrip("\r\n"), raw.endswith(("\n", "\r")), UNCLOSED),)
        return RowBatch(
            pl.DataFrame(schema={"line_no": pl.UInt32, **dict.fromkeys(width.names, pl.String)}), odd, 1, "exact", records_exact=1
        )
    return replace(_frames(rows, [line + s for s in starts], raws, width), records_exact=len(rows))


@dataclass(frozen=True)
class _Raws:
    """The raw text of records, joined from physical lines only when asked for."""

    lines: list[str]
    starts: list[int]

    def __getitem__(self, i: int) -> str:
        return "".join(self.lines[self.starts[i] : self.starts[i + 1]])


def _frames(rows: list[list[str]], numbers: list[int], raws: _Raws | list[str], width: Width) -> RowBatch:
    """Return records as a batch; `numbers` holds their first lines and one more."""
    odd: list[OddRow] = []
    kept, at = rows, numbers[: len(rows)]
    if any(len(r) != width.full for r in rows):
        kept, at = [], []
        for i, fields in enumerate(rows):
            fitted = width.fitted(fields)
            if fitted is not None:
                kept.append(fitted)
                at.append(numbers[i])
            else:
                raw = raws[i]
                odd.append(OddRow(numbers[i], tuple(fields[:MOST_FIELDS]), raw.rstrip("\r\n"), raw.endswith(("\n", "\r"))))
    columns = zip(*kept, strict=True) if kept else [()] * width.full
    frame = pl.DataFrame(
        [pl.Series("line_no", at, dtype=pl.UInt32), *(pl.Series(n, c, dtype=pl.String) for n, c in zip(width.names, columns, strict=True))]
    )
    return RowBatch(frame, tuple(odd), len(rows), "exact")
