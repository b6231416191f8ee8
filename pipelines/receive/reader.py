"""Numbered text rows of any delimited file: a fast reader where the bytes prove it safe, an exact one elsewhere.

Both give the same rows. Fast: pieces without quotes, lone carriage returns or NUL bytes, split by polars. Exact:
Python's csv module over the decoded lines, which knows quoting, escapes and quoted line ends.
"""

from __future__ import annotations

import codecs
import csv
import gzip
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import polars as pl

from pipelines.chunks import FileRefusedError

PIECE_BYTES = 48 * 2**20  # a piece and its frames stay well below 1 GiB
LONGEST_LINE = 16 * 2**20  # a longer "line" is no table row
LARGEST_UNPACKED = 64 * 2**30  # a compressed member larger than this is refused
_MARK = "\x01"  # a byte no text file holds: splits lines off as one field


@dataclass(frozen=True)
class Dialect:
    """How a delimited file is written."""

    encoding: str = "utf-8"
    delimiter: str = ","
    quote: str | None = '"'
    escape: str | None = None


@dataclass(frozen=True)
class OddRow:
    """A record whose number of fields is not that of the header."""

    line_no: int
    fields: tuple[str, ...]
    raw: str
    ended: bool  # false: the last line of the file has no line end


@dataclass(frozen=True)
class RowBatch:
    """Records of a piece: `frame` has line_no (UInt32) and columns c0..c{n-1} (String); other records are in `odd`."""

    frame: pl.DataFrame
    odd: tuple[OddRow, ...]
    records: int
    reader: str


def names(width: int) -> list[str]:
    """Return the column names of a batch of `width` fields."""
    return [f"c{i}" for i in range(width)]


def open_binary(path: Path) -> BinaryIO:
    """Open a file for reading bytes; gzip members are unpacked on the way."""
    with path.open("rb") as probe:
        packed = probe.read(2) == b"\x1f\x8b"
    return gzip.open(path, "rb") if packed else path.open("rb")  # type: ignore[return-value]


def pieces(path: Path, encoding: str, piece_bytes: int = PIECE_BYTES) -> Iterator[bytes]:
    """Yield the file as UTF-8 in pieces that end at a line feed (the last one as it is).

    FileRefusedError when it cannot be decoded, holds NUL bytes, is damaged, or has an endless line.
    """
    try:
        with open_binary(path) as source:
            yield from _pieces(source, encoding, piece_bytes)
    except (OSError, EOFError) as error:
        raise FileRefusedError("file not readable", f"{error}") from error


def _pieces(source: BinaryIO, encoding: str, piece_bytes: int) -> Iterator[bytes]:
    plain = codecs.lookup(encoding).name in ("utf-8", "ascii")
    decoder = codecs.getincrementaldecoder(encoding)()
    rest, total, first = b"", 0, True
    while data := source.read(piece_bytes):
        total += len(data)
        if total > LARGEST_UNPACKED:
            raise FileRefusedError("file not readable", f"more than {LARGEST_UNPACKED // 2**30} GiB unpacked")
        if not plain:
            data = _decoded(decoder, data).encode("utf-8")
        if first:
            data, first = data.removeprefix(codecs.BOM_UTF8), False
        if b"\x00" in data:
            raise FileRefusedError("file not readable", "the file holds NUL bytes; it is not text in the declared encoding")
        cut = data.rfind(b"\n") + 1
        if cut:
            yield rest + data[:cut] if rest else data[:cut]
            rest = data[cut:]
        else:
            rest += data
        if len(rest) > LONGEST_LINE and b"\r" not in rest:
            raise FileRefusedError("file not readable", f"a line is longer than {LONGEST_LINE // 2**20} MiB")
    if rest:
        yield rest


def _decoded(decoder: codecs.IncrementalDecoder, data: bytes) -> str:
    try:
        return decoder.decode(data)
    except UnicodeDecodeError as error:
        raise FileRefusedError("file not readable", f"not in the declared encoding: {error.reason}") from error


def batches(pieces_of_rows: Iterable[bytes], dialect: Dialect, width: int, first_line: int) -> Iterator[RowBatch]:
    """Yield the records of UTF-8 pieces, each piece read fast when that is safe; from the first quote on exactly."""
    line, waiting = first_line, iter(pieces_of_rows)
    for piece in waiting:
        if not _plain(piece, dialect):
            yield from _exact(_chain(piece, waiting), dialect, width, line)
            return
        batch = _fast(piece, dialect, width, line) or _by_line(piece, dialect, width, line)
        yield batch
        line += batch.records


def _chain(piece: bytes, waiting: Iterator[bytes]) -> Iterator[bytes]:
    yield piece
    yield from waiting


def _plain(piece: bytes, dialect: Dialect) -> bool:
    """Tell whether every line feed of the piece ends a record and nothing is quoted or escaped."""
    if dialect.quote and dialect.quote.encode() in piece:
        return False
    if dialect.escape and dialect.escape.encode() in piece:
        return False
    if len(dialect.delimiter.encode()) > 1 or _MARK.encode() in piece:
        return False
    returns = piece.count(b"\r")
    return returns == 0 or returns == piece.count(b"\r\n")


def _lines(piece: bytes) -> int:
    return piece.count(b"\n") + (not piece.endswith(b"\n"))


def _fast(piece: bytes, dialect: Dialect, width: int, line: int) -> RowBatch | None:
    """Return the piece as columns, or None unless every line has exactly `width` fields."""
    lines = _lines(piece)
    if piece.count(dialect.delimiter.encode()) != lines * (width - 1) or width == 1:
        return None
    try:
        frame = pl.read_csv(
            piece,
            has_header=False,
            schema=dict.fromkeys(names(width), pl.String),
            separator=dialect.delimiter,
            quote_char=None,
            empty_string_is_null=False,
        )
    except pl.exceptions.ComputeError:  # a line with too many fields, or bytes that are not UTF-8
        return None
    if frame.height != lines:
        return None
    return RowBatch(frame.with_row_index("line_no", offset=line), (), lines, "fast")


def _by_line(piece: bytes, dialect: Dialect, width: int, line: int) -> RowBatch:
    """Return the piece line by line: those of `width` fields as columns, the others as odd rows."""
    try:
        raw = pl.read_csv(piece, has_header=False, schema={"raw": pl.String}, separator=_MARK, quote_char=None, empty_string_is_null=False)
    except pl.exceptions.ComputeError as error:
        raise FileRefusedError("file not readable", f"near line {line}: not in the declared encoding") from error
    lines = _lines(piece)
    if raw.height != lines:  # polars leaves a last empty line out
        raw = pl.DataFrame({"raw": piece.decode("utf-8").replace("\r\n", "\n").removesuffix("\n").split("\n")})
    raw = raw.with_row_index("line_no", offset=line).with_columns(
        fields=pl.col("raw").str.count_matches(dialect.delimiter, literal=True) + 1
    )
    fit = raw.filter(pl.col("fields") == width)
    split = fit.select("line_no", pl.col("raw").str.splitn(dialect.delimiter, width).struct.rename_fields(names(width)).alias("s")).unnest(
        "s"
    )
    others = raw.filter(pl.col("fields") != width)
    last, ended = line + lines - 1, piece.endswith(b"\n")
    odd = tuple(
        OddRow(number, tuple(text.split(dialect.delimiter)), text, ended or number != last) for number, text, _ in others.iter_rows()
    )
    return RowBatch(split, odd, lines, "fast")


class _Tee(Iterator[str]):
    """Physical lines for the csv module, remembering those of the record being read."""

    def __init__(self, source: Iterator[str]) -> None:
        self.source, self.taken, self.count = source, [""], 0
        self.taken.clear()

    def __next__(self) -> str:
        text = next(self.source)
        if len(text) > LONGEST_LINE:
            raise FileRefusedError("file not readable", f"line {self.count + 1} is longer than {LONGEST_LINE // 2**20} MiB")
        self.taken.append(text)
        self.count += 1
        return text


def _text_lines(parts: Iterable[bytes]) -> Iterator[str]:
    """Yield physical lines with their line end: LF, CRLF or CR; a record may still span several."""
    rest = b""
    for part in parts:
        data = rest + part
        whole = len(data) if data.endswith(b"\n") else max(data.rfind(b"\n"), data.rfind(b"\r", 0, -1)) + 1
        yield from io.StringIO(_utf8(data[:whole]), newline="")
        rest = data[whole:]
    if rest:
        yield from io.StringIO(_utf8(rest), newline="")


def _utf8(data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise FileRefusedError("file not readable", f"not in the declared encoding: byte {error.object[error.start]:#04x}") from error


def records(parts: Iterable[bytes], dialect: Dialect, first_line: int = 1) -> Iterator[tuple[int, list[str], str]]:
    """Yield (physical line, fields, raw text) of every record, exactly."""
    tee = _Tee(_text_lines(parts))
    csv.field_size_limit(LONGEST_LINE)
    if dialect.quote is None:
        reader = csv.reader(tee, delimiter=dialect.delimiter, quoting=csv.QUOTE_NONE, escapechar=dialect.escape)
    else:
        reader = csv.reader(
            tee, delimiter=dialect.delimiter, quotechar=dialect.quote, escapechar=dialect.escape, doublequote=dialect.escape is None
        )
    before = 0
    try:
        for fields in reader:
            yield first_line + before, fields, "".join(tee.taken)
            before = tee.count
            tee.taken.clear()
    except csv.Error as error:
        raise FileRefusedError("file not readable", f"near line {first_line + before}: {error}") from error


_BATCH = 50_000  # records turned into a frame at a time by the exact reader


def _exact(parts: Iterable[bytes], dialect: Dialect, width: int, first_line: int) -> Iterator[RowBatch]:
    lines: list[int] = []
    rows: list[list[str]] = []
    odd: list[OddRow] = []
    for number, fields, raw in records(parts, dialect, first_line):
        if len(fields) == width:
            lines.append(number)
            rows.append(fields)
        else:
            odd.append(OddRow(number, tuple(fields), raw.rstrip("\r\n"), raw.endswith(("\n", "\r"))))
        if len(rows) + len(odd) >= _BATCH:
            yield _frame(lines, rows, odd, width)
            lines, rows, odd = [], [], []
    if rows or odd:
        yield _frame(lines, rows, odd, width)


def _frame(lines: list[int], rows: list[list[str]], odd: list[OddRow], width: int) -> RowBatch:
    columns = dict(zip(names(width), zip(*rows, strict=True), strict=True)) if rows else dict.fromkeys(names(width), ())
    frame = pl.DataFrame(
        {"line_no": pl.Series(lines, dtype=pl.UInt32), **{n: pl.Series(n, v, dtype=pl.String) for n, v in columns.items()}}
    )
    return RowBatch(frame, tuple(odd), len(rows) + len(odd), "exact")


def read_rows(path: Path, dialect: Dialect, *, piece_bytes: int = PIECE_BYTES) -> Iterator[RowBatch]:
    """Yield numbered text rows of a whole file; the width is that of its first record.

    The first record (a header, if there is one) comes as a row like any other.
    """
    source = pieces(path, dialect.encoding, piece_bytes)
    first = next(source, b"")
    if not first:
        return
    _, fields, _ = next(records([first], dialect))
    yield from batches(_chain(first, source), dialect, len(fields), 1)
