"""`read_rows` beside Python's csv module (and DuckDB) on polluted files: the same fields, and the line each record begins on.

Both readers get the same delimiter, quote, escape and encoding. Where ours differs on purpose, a case says why.
"""

from __future__ import annotations

import csv
import io
import itertools
from dataclasses import dataclass
from pathlib import Path

import duckdb
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipelines.files.original import FileRefusedError
from pipelines.receive import Dialect, read_rows
from pipelines.receive.text import reader

Rows = list[tuple[int, list[str]]]
SENTINEL = "\x03"


def ours(path: Path, dialect: Dialect, piece_bytes: int) -> tuple[Rows, list[int]]:
    """(line, fields) of every record, and the lines on which a quote was opened and never closed."""
    rows: Rows = []
    unclosed = []
    for batch in read_rows(path, dialect, piece_bytes=piece_bytes):
        mine = list(batch.rows())
        assert len(mine) == batch.records
        rows += mine
        unclosed += [o.line_no for o in batch.odd if o.note]
    return rows, unclosed


def theirs(text: str, dialect: Dialect) -> tuple[Rows, bool]:
    """The same of the csv module, a blank line as one blank field; and whether a quote is open at the end."""
    quoting = {"quoting": csv.QUOTE_NONE} if dialect.quote is None else {"quotechar": dialect.quote}

    def read(lines: list[str]) -> Rows:
        found = csv.reader(
            iter(lines), delimiter=dialect.delimiter, escapechar=dialect.escape, doublequote=dialect.escape is None, strict=False, **quoting
        )
        rows, before = [], 0
        for fields in found:
            rows.append((before + 1, fields or [""]))
            before = found.line_num
        return rows

    lines = list(io.StringIO(text, newline=""))
    ended = [*lines[:-1], lines[-1] + ("" if lines[-1].endswith(("\n", "\r")) else "\n"), SENTINEL] if lines else []
    rows = read(ended)
    is_open = bool(ended) and rows[-1][1] != [SENTINEL]
    return (rows[:-1], is_open) if ended else ([], False)


def compare(path: Path, text: str, dialect: Dialect, piece_bytes: int) -> None:
    path.write_bytes(text.encode(dialect.encoding))
    expected, is_open = theirs(text.removeprefix("\ufeff"), dialect)
    rows, unclosed = ours(path, dialect, piece_bytes)
    if is_open:  # on purpose: csv takes the rest of the file for one field; here only the line that opens it is lost
        assert unclosed
        assert rows[: len(expected)] == expected
        return
    assert unclosed == []
    assert rows == expected


TOKENS = st.sampled_from(
    ["a", "1.5", "", " ", "é", "水", '"', '""', "'", "\\", ",", ";", "\t", "|", "\n", "\r\n", "\r", "x\ny", "=", "\x01", "\x02", "\x1a", "\u2028", "\x0b", "\x85", "\ufeff"]
)  # fmt: skip
DIALECTS = [
    Dialect("utf-8", d, q, e) for d, q, e in itertools.product(",;\t|", ['"', "'", None], [None, "\\"])
] + [Dialect("utf-16-le", ",", '"', None), Dialect("utf-16-be", ";", '"', "\\")]  # fmt: skip


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("rows") / "x.csv"


@settings(max_examples=500)
@given(st.lists(TOKENS, max_size=40).map("".join), st.sampled_from(DIALECTS), st.sampled_from([1, 13, 10**6]), st.booleans())
@example('a,"b\n', Dialect(), 10**6, False)
@example("a,b\\", Dialect(escape="\\"), 10**6, False)
@example('"a"b,c\n"d""e"f\n', Dialect(), 13, True)
def test_any_text_gives_the_fields_and_lines_of_the_csv_module(
    path: Path, text: str, dialect: Dialect, piece_bytes: int, quoted_fast: bool
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        if quoted_fast:
            patch.setattr(reader, "_SMALL", 0)  # small pieces too are tried fast
            patch.setattr(reader, "_PART_BYTES", 11)
        compare(path, text, dialect, piece_bytes)


@dataclass(frozen=True)
class Polluted:
    name: str
    text: str
    dialect: Dialect = Dialect()  # noqa: RUF009
    columns: int = 3


BODY = "2026-01-05 00:{:02d}:00,Feed,{}\n"
CLEAN = "time,tag,value\n" + "".join(BODY.format(m, m) for m in range(60))
LINES = CLEAN.splitlines(keepends=True)


def with_line(number: int, text: str) -> str:
    """The clean file with one line written otherwise."""
    return "".join([*LINES[: number - 1], text, *LINES[number:]])


POLLUTED = [
    Polluted("clean", CLEAN),
    Polluted("CRLF", CLEAN.replace("\n", "\r\n")),
    Polluted("CR", CLEAN.replace("\n", "\r")),
    Polluted("mixed line ends", "".join(line.replace("\n", end) for line, end in zip(LINES, itertools.cycle(["\n", "\r\n", "\r"])))),
    Polluted("no last line end", CLEAN[:-1]),
    Polluted("three last line ends", CLEAN + "\n\n"),
    Polluted("preamble", "Export\n\nof a plant\n" + CLEAN, columns=1),
    Polluted("several header lines", "time of,name of,number\n" + CLEAN),
    Polluted("footnote", CLEAN + "\n* values are averages\n"),
    Polluted("two tables", CLEAN + "\nday,total\n2026-01-05,1770\n"),
    Polluted("two tables, the second wider", CLEAN + "day,total,low,high\n2026-01-05,1770,0,59\n"),
    Polluted("row too short", with_line(30, "2026-01-05 00:28:00,Feed\n")),
    Polluted("row too long", with_line(30, "2026-01-05 00:28:00,Feed,28,x,y\n")),
    Polluted("row of blank fields", with_line(30, ",,\n")),
    Polluted("row missing its line end", with_line(30, LINES[29][:-1])),
    Polluted("quote too many at the start of a field", with_line(30, '2026-01-05 00:28:00,""Feed,28\n')),
    Polluted("quote in the middle of a field", with_line(30, '2026-01-05 00:28:00,Fe"ed,28\n')),
    Polluted("quote at the end of a field", with_line(30, '2026-01-05 00:28:00,Feed",28\n')),
    Polluted("text behind a closed quote", with_line(30, '2026-01-05 00:28:00,"Fe"ed,28\n')),
    Polluted("blank before a quote", with_line(30, '2026-01-05 00:28:00, "Feed, too",28\n')),
    Polluted("quoted line end", with_line(30, '2026-01-05 00:28:00,"Fe\ned",28\n')),
    Polluted("quoted blank lines", with_line(30, '2026-01-05 00:28:00,"Fe\n\n\ned",28\n')),
    Polluted("quoted CRLF in an LF file", with_line(30, '2026-01-05 00:28:00,"Fe\r\ned",28\n')),
    Polluted("quote opened, closed 20 lines on", with_line(10, '2026-01-05 00:08:00,"Feed,8\n').replace(",28\n", ',28"\n')),
    Polluted("other delimiter in one row", with_line(30, "2026-01-05 00:28:00;Feed;28\n")),
    Polluted("delimiter inside a field of one row", with_line(30, "2026-01-05 00:28:00,Fe,ed,28\n")),
    Polluted("every field quoted", CLEAN.replace(",", '","').replace("\n", '"\n"')[:-1].join(['"', ""])),
    Polluted("semicolons", CLEAN.replace(",", ";"), Dialect(delimiter=";")),
    Polluted("tabs", CLEAN.replace(",", "\t"), Dialect(delimiter="\t")),
    Polluted("bars", CLEAN.replace(",", "|"), Dialect(delimiter="|")),
    Polluted("a delimiter of two bytes", CLEAN.replace(",", "¦"), Dialect(delimiter="¦")),
    Polluted("blanks part fields", "a b c\n1 2 3\n4  6\n", Dialect(delimiter=" ")),
    Polluted("single quotes", CLEAN.replace("Feed", "'Fe,ed'"), Dialect(quote="'")),
    Polluted("no quotes", CLEAN.replace("Feed", '"Feed'), Dialect(quote=None)),
    Polluted("escaped quotes", CLEAN.replace("Feed", '"Fe\\"ed"'), Dialect(escape="\\")),
    Polluted("escaped delimiters", CLEAN.replace("Feed", "Fe\\,ed"), Dialect(escape="\\")),
    Polluted("escaped line end", with_line(30, "2026-01-05 00:28:00,Fe\\\ned,28\n"), Dialect(escape="\\")),
    Polluted("backslashes that escape nothing", CLEAN.replace("Feed", "C:\\Feed")),
    Polluted("byte order mark", "\ufeff" + CLEAN),
    Polluted("Latin-1", CLEAN.replace("Feed", "før"), Dialect("latin-1")),
    Polluted("code page 1252", CLEAN.replace("Feed", "€ “før”"), Dialect("cp1252")),
    Polluted("UTF-16 LE", CLEAN.replace("Feed", "水"), Dialect("utf-16-le")),
    Polluted("UTF-16 BE", CLEAN.replace("Feed", "水"), Dialect("utf-16-be")),
    Polluted("Shift JIS", CLEAN.replace("Feed", "水"), Dialect("shift_jis")),
    Polluted("control signs", CLEAN.replace("Feed", "a\x01b\x02c\x1a")),
    Polluted("Unicode line separators", CLEAN.replace("Feed", "a\u2028b\x85c\x0bd\x0ce")),
    Polluted("one column", "a\nb\n\nc\n", columns=1),
    Polluted("one column, quoted", 'a\n"b\nb"\n""\nc\n', columns=1),
    Polluted("last delimiter at the end", "a,b\n1,\n2,", columns=2),
    Polluted("a field of a million signs", with_line(30, f"2026-01-05 00:28:00,{'x' * 10**6},28\n")),
    Polluted("empty", "", columns=0),
    Polluted("one blank line", "\n", columns=1),
]


@pytest.mark.parametrize("piece_bytes", [101, 10**7])
@pytest.mark.parametrize("polluted", POLLUTED, ids=[p.name for p in POLLUTED])
def test_polluted_files(tmp_path: Path, polluted: Polluted, piece_bytes: int) -> None:
    compare(tmp_path / "x.csv", polluted.text, polluted.dialect, piece_bytes)
    if polluted.columns:
        first = next(iter(read_rows(tmp_path / "x.csv", polluted.dialect)))
        assert len(first.frame.columns) - 1 == polluted.columns


def test_the_same_as_duckdb_where_it_reads_the_file(tmp_path: Path) -> None:
    """A third opinion, with the dialect given and nothing sniffed. DuckDB leaves out blank lines and may refuse a file."""
    agreed, differing = 0, set()
    for polluted in POLLUTED:
        d, path = polluted.dialect, tmp_path / "x.csv"
        if d.encoding != "utf-8" or len(d.delimiter.encode()) > 1 or not polluted.text:
            continue
        path.write_text(polluted.text, encoding="utf-8", newline="")
        names = {f"c{i}": "VARCHAR" for i in range(polluted.columns)}
        escape = d.escape or d.quote or ""
        try:
            found = duckdb.read_csv(
                str(path), header=False, sep=d.delimiter, quotechar=d.quote or "", escapechar=escape, columns=names, auto_detect=False,
                na_values=SENTINEL, strict_mode=True,
            ).fetchall()  # fmt: skip
        except duckdb.Error:
            continue
        rows = [fields for _, fields in ours(path, d, 10**7)[0] if fields != [""]]
        if [row for row in ([f or "" for f in row] for row in found) if row != [""]] == rows:
            agreed += 1
        else:
            differing.add(polluted.name)
    # RFC 4180: blanks are part of a field, so a quote behind one is text, as the csv module has it; DuckDB skips the blank.
    assert differing == {"blank before a quote"}
    assert agreed >= 15


def test_what_differs_from_the_csv_module_on_purpose(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    # NUL: csv takes it for text. Here it shows a wrong declared encoding or a damaged file, which is refused whole.
    path.write_bytes(b"a,b\n1,\x00\n")
    with pytest.raises(FileRefusedError, match="NUL"):
        list(read_rows(path, Dialect()))
    # A quote never closed: csv swallows the rest of the file as one field. Here the line that opens it is odd, the rest is read.
    path.write_text('a,b\n1,"x\n2,y\n3,z\n', encoding="utf-8")
    rows, unclosed = ours(path, Dialect(), 10**6)
    assert unclosed == [2]
    assert [line for line, _ in rows] == [1, 2, 3, 4]
    assert rows[2:] == [(3, ["2", "y"]), (4, ["3", "z"])]
    # Bytes that are not in the encoding: csv would be given replacement signs or an exception without a place.
    path.write_bytes(b"a,b\n1,\xff\n")
    with pytest.raises(FileRefusedError, match="line 2: byte 0xff"):
        list(read_rows(path, Dialect()))
    # A byte order mark belongs to the file, not to the first field.
    path.write_bytes(b"\xef\xbb\xbfa,b\n")
    assert ours(path, Dialect(), 10**6)[0] == [(1, ["a", "b"])]
