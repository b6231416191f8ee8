"""First look at an unseen file: encoding, delimiter, records. Guesses only propose; the plant file declares."""

from __future__ import annotations

import codecs
import csv
import gzip
import io
import re
import zlib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from pipelines import receive
from pipelines.files.original import FileRefusedError
from pipelines.plant.layout_checks import BLANKS
from pipelines.receive.shapes.header import MOST_COLUMNS
from pipelines.receive.text.exact_reader import csv_reader

SAMPLE_BYTES = 2_000_000  # enough for a day of one-minute rows; a guess needs no more
_DELIMITERS = (",", ";", "\t", "|")
_RUNS = re.compile(r"[|;:~^#<>=*!$&@]{2,5}")  # signs that exports part fields by, several together
_DELIMITED_LINES, _MOSTLY = 400, 0.8
_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
_BINARY = (b"%PDF", b"\x89PNG", b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"SQLite format", b"PAR1")


@dataclass(frozen=True)
class Look:
    """How to decode and split a file, and its first records with their physical lines."""

    encoding: str
    why_encoding: str
    delimiter: str
    quote: str
    escape: str | None
    records: tuple[tuple[int, tuple[str, ...]], ...]
    whole: bool  # the sample is the whole file
    line_end: str
    is_workbook: bool = False
    sheet: str | None = None


def look(path: Path, sheet: str | None = None) -> Look:
    """Return a first look at a file (of a workbook: at the named or first visible sheet); FileRefusedError when it is empty or not text."""
    source = receive.content(path)
    if isinstance(source, receive.Workbook):
        return _sheet(source, sheet)
    data = _first_bytes(path)
    if not data:
        raise FileRefusedError("file not readable", "the file is empty")
    if data.startswith(_BINARY):
        raise FileRefusedError("file not readable", "this is a binary file, not delimited text; export it as CSV")
    whole = len(data) < SAMPLE_BYTES
    encoding, why = guess_encoding(data)
    text = codecs.getincrementaldecoder(encoding)(errors="replace").decode(data, final=False).lstrip("\ufeff")
    if text.count("\x00") > 0.01 * len(text):
        raise FileRefusedError("file not readable", "the file holds NUL bytes; it is not text")
    if not whole:
        text = text[: text.rfind("\n") + 1]
    if not text.strip():
        raise FileRefusedError("file not readable", f"its first line is longer than {SAMPLE_BYTES // 10**6} MB; no table row is")
    quote, escape = guess_quote(text)
    delimiter = guess_delimiter(text, quote, escape)
    records = _records(text, receive.Dialect(encoding, delimiter, quote, escape))
    line_end = "CRLF" if "\r\n" in text else "LF" if "\n" in text else "CR"
    return Look(encoding, why, delimiter, quote, escape, tuple(records), whole, line_end)


def _records(text: str, dialect: receive.Dialect) -> list[tuple[int, tuple[str, ...]]]:
    """Return (physical line, fields) of each record; FileRefusedError when one has more fields than are read."""
    reader, found, last = csv_reader(iter(io.StringIO(text, newline="")), dialect), [], 0
    try:
        for fields in reader:
            if len(fields) > MOST_COLUMNS:
                raise FileRefusedError("file not readable", f"{len(fields)} columns; at most {MOST_COLUMNS} are read")
            found.append((last + 1, tuple(f.strip() for f in fields)))
            last = reader.line_num
    except csv.Error as error:
        raise FileRefusedError("file not readable", f"line {last + 1}: {error}") from error
    return found


def _sheet(source: receive.Workbook, sheet: str | None) -> Look:
    """Return the first rows of a sheet, dates as ISO 8601 text."""
    parts: list[bytes] = []
    for piece in source.sheet_pieces(sheet):
        parts.append(piece)
        if sum(map(len, parts)) >= SAMPLE_BYTES:
            break
    whole = sum(map(len, parts)) < SAMPLE_BYTES
    rows = b"".join(parts).decode("utf-8").split("\n")[:-1]
    records = tuple((n, tuple(f.strip() for f in row.split("\t"))) for n, row in enumerate(rows, 1))
    return Look("utf-8", "a sheet of a workbook", "\t", '"', None, records, whole, "LF", is_workbook=True, sheet=sheet)


def _first_bytes(path: Path) -> bytes:
    try:
        with receive.opened(path) as plain:
            head = plain.read(SAMPLE_BYTES)
        if head[:2] == b"\x1f\x8b":
            with receive.opened(path) as plain, gzip.GzipFile(fileobj=plain) as unpacked:
                return unpacked.read(SAMPLE_BYTES)
    except (OSError, EOFError, zlib.error) as error:
        raise FileRefusedError("file not readable", str(error)) from error
    return head


def guess_encoding(data: bytes) -> tuple[str, str]:
    """Return (codec, reason): byte-order mark, NUL pattern of UTF-16, valid UTF-8, else a single-byte code page."""
    for mark, name in _BOMS:
        if data.startswith(mark):
            return name, "byte-order mark"
    head = data[:4000]
    if head[1::2].count(0) > 0.4 * len(head[1::2]):
        return "utf-16-le", "every second byte is zero"
    if head[0::2].count(0) > 0.4 * len(head[0::2]):
        return "utf-16-be", "every second byte is zero"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(data, final=False)
    except UnicodeDecodeError:
        # 0x80-0x9f are letters and signs in cp1252 but control codes in Latin-1
        odd = sum(1 for byte in data if 0x80 <= byte <= 0x9F)
        return ("cp1252", "not UTF-8, bytes of code page 1252") if odd else ("latin-1", "not UTF-8, single bytes")
    return "utf-8", "valid UTF-8"


def guess_quote(text: str) -> tuple[str, str | None]:
    """Return (quote, escape): single quotes where they open and close more fields, backslash where one stands before a quote."""
    head = text[: SAMPLE_BYTES // 4]
    sides = {q: sum(len(re.findall(p, head, re.MULTILINE)) for p in (rf"(?:^|[,;\t|]){q}", rf"{q}(?:$|[,;\t|\r])")) for q in "\"'"}
    opened = {q: len(re.findall(rf"(?:^|[,;\t|]){q}", head, re.MULTILINE)) for q in "\"'"}
    both_sides = sides["'"] - opened["'"] >= 0.9 * opened["'"]
    quote = "'" if opened["'"] > opened['"'] and both_sides else '"'
    return quote, "\\" if "\\" + quote in head else None


def guess_delimiter(text: str, quote: str = '"', escape: str | None = None) -> str:
    """Return the delimiter that gives the most records the same, largest number of fields; blanks only where no sign does."""
    lines = [line for line in text.splitlines()[:_DELIMITED_LINES] if line.strip()]
    if (run := _run_of_signs(lines)) is not None:
        return run
    best, best_score = ",", (-1.0, 0)
    for delimiter in (*_DELIMITERS, " "):
        fields, share = _usual_fields(lines, receive.Dialect("utf-8", delimiter, quote, escape))
        score = (share if fields > 1 else 0.0, fields)
        if score > best_score and (delimiter != " " or best_score[0] < _MOSTLY):
            best, best_score = delimiter, score
    has_runs = any("  " in line.strip() for line in lines)
    return BLANKS if best == " " and has_runs else best


def _usual_fields(lines: list[str], dialect: receive.Dialect) -> tuple[int, float]:
    """Return the number of fields that most records have, and their share."""
    try:
        counts = Counter(len(fields) for fields in csv_reader(iter(lines), dialect))
    except csv.Error:
        return 1, 0.0
    fields, often = max(counts.items(), key=lambda item: (item[1] * (item[0] > 1), item[0]), default=(1, 0))
    return fields, often / max(len(lines), 1)


def _run_of_signs(lines: list[str]) -> str | None:
    """Return a run of signs that stands equally often in nearly all lines, and whose signs stand nowhere else."""
    joined = "\n".join(lines)
    run: str
    for run, _ in Counter(_RUNS.findall(joined)).most_common(3):
        often = Counter(line.count(run) for line in lines).most_common(1)[0]
        is_alone = all(joined.count(sign) == run.count(sign) * joined.count(run) for sign in set(run))
        if often[0] > 0 and often[1] >= _MOSTLY * len(lines) and is_alone:
            return run
    return None
