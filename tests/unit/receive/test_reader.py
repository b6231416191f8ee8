"""The two readers give the same rows, for any bytes; encodings, damage, and what is refused as a file."""

from __future__ import annotations

import csv
import gzip
import io
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines import receive
from pipelines.files.original import FileRefusedError
from pipelines.plant.model import Layout
from pipelines.receive.text import dialect, exact_reader, reader
from pipelines.receive.text.reader import batches
from pipelines.receive.text.row_batch import Width

FIELDS = st.sampled_from(["a", "1.5", "", " b ", "é", '"q"', '"a,b"', '""', '"x ""y"""', '"two\nlines"', 'in"ch', '"open', "'7", "="])
ROWS = st.lists(st.lists(FIELDS, min_size=1, max_size=4), min_size=1, max_size=9)


def taken(parts: list[bytes], width: Width, rows_dialect: receive.Dialect) -> tuple[dict[int, object], int, set[str]]:
    """All records by line number, their count, and the readers that served."""
    found: dict[int, object] = {}
    count, readers = 0, set()
    for batch in batches(parts, rows_dialect, width, 1):
        count += batch.records
        readers.add(batch.reader)
        for line, *fields in batch.frame.iter_rows():
            assert line not in found
            found[line] = fields
        for odd in batch.odd:
            assert odd.line_no not in found
            found[odd.line_no] = odd
    return found, count, readers


@settings(max_examples=300)
@given(
    ROWS,
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.booleans(),
    st.sampled_from([Width(2, -1), Width(3, 2), Width(1, 1), Width(3, 3)]),
    st.sampled_from([7, 31, 10**6]),
)
def test_fast_and_exact_agree_on_any_rows(rows: list[list[str]], end: str, ended: bool, width: Width, piece_bytes: int) -> None:
    text = end.join(",".join(r) for r in rows) + (end if ended else "")
    source = io.BytesIO(text.encode())
    parts = list(dialect.whole_lines(iter(lambda: source.read(piece_bytes), b"")))
    assert b"".join(parts) == text.encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "_SMALL", 0)  # small pieces too go through the fast reader's quoted branch
        fast = taken(parts, width, receive.Dialect())
        patch.setattr(reader, "_PART_BYTES", 11)
        assert taken(parts, width, receive.Dialect())[:2] == fast[:2]
        patch.setattr(reader, "_fast_piece", lambda *_: None)
        slow = taken([text.encode()] if text else [], width, receive.Dialect())
    assert fast[:2] == slow[:2]


@settings(max_examples=200)
@given(
    st.lists(
        st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\x00\r\x01\x02"), max_size=6), min_size=2, max_size=2),
        min_size=1,
        max_size=8,
    )
)
def test_what_the_csv_module_writes_is_read_back(tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]]) -> None:
    """Second opinion: Python's csv writer. Line numbers are the physical lines its text has."""
    out, at, expected = io.StringIO(newline=""), 1, {}
    for row in rows:
        piece = io.StringIO(newline="")
        csv.writer(piece).writerow(row)
        expected[at] = row
        at += piece.getvalue().count("\n")
        out.write(piece.getvalue())
    path = tmp_path_factory.mktemp("x") / "x.csv"
    path.write_bytes(out.getvalue().encode())
    found: dict[int, list[str]] = {}
    for batch in receive.read_rows(path, receive.Dialect()):
        assert batch.odd == ()
        found |= {line: fields for line, *fields in batch.frame.iter_rows()}
    assert found == expected


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252", "shift_jis"])
def test_every_encoding_gives_the_same_rows(tmp_path: Path, encoding: str) -> None:
    letters = "é" if encoding in ("latin-1", "cp1252") else "a" if encoding == "shift_jis" else "é€水"
    text = "time,tag\n" + "".join(f"{i},{letters}{i}\n" for i in range(500))
    path = tmp_path / "x.csv"
    mark = "\ufeff" if encoding in ("utf-16-le", "utf-16-be") else ""
    path.write_bytes((mark + text).encode(encoding))
    got = pl.concat([b.frame for b in receive.read_rows(path, receive.Dialect(encoding=encoding), piece_bytes=1000)])
    assert got["c0"][0] == "time"
    assert got["c1"].to_list()[1:] == [f"{letters}{i}" for i in range(500)]
    assert got["line_no"].to_list() == list(range(1, 502))


def test_gzip_is_unpacked_on_the_way_and_damage_refused(tmp_path: Path) -> None:
    path, packed = tmp_path / "x.csv.gz", gzip.compress(b"a,b\n" * 50_000)
    path.write_bytes(packed)
    assert sum(b.records for b in receive.read_rows(path, receive.Dialect(), piece_bytes=10_000)) == 50_000
    for damaged in (packed[:-9], packed[:40] + b"\xff\xff\xff" + packed[43:]):
        path.write_bytes(damaged)
        with pytest.raises(FileRefusedError, match="file not readable"):
            list(receive.read_rows(path, receive.Dialect()))


def test_unpacked_size_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.csv.gz"
    path.write_bytes(gzip.compress(b"a,b\n" * 100_000))
    monkeypatch.setattr(dialect, "LARGEST_UNPACKED", 300_000)
    with pytest.raises(FileRefusedError, match="unpacked"):
        list(receive.read_rows(path, receive.Dialect(), piece_bytes=10_000))


@pytest.mark.parametrize(
    ("content", "encoding", "says"),
    [
        (b"a,b\n1,\x002\n", "utf-8", "NUL"),
        ("a,b\n".encode("utf-16"), "utf-8", "NUL"),
        (b"a,b\n1,2\n3,\xff\n", "utf-8", "line 3: byte 0xff"),
        (b"a,b\n\xd8\x00", "utf-16-be", "not in the encoding of the layout"),
        (b"a,b\n1,2\n", "no-such-code", "'no-such-code' is not known"),
    ],
)
def test_what_is_no_text_is_refused(tmp_path: Path, content: bytes, encoding: str, says: str) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(content)
    with pytest.raises(FileRefusedError, match=says) as refused:
        list(receive.read_rows(path, receive.Dialect(encoding=encoding)))
    assert refused.value.reason == "file not readable"


@pytest.mark.parametrize("packed", [False, True])
def test_endless_line_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, packed: bool) -> None:
    for module in (dialect, exact_reader):
        monkeypatch.setattr(module, "LONGEST_LINE", 1000)
    path = tmp_path / "x.csv"
    for content in (b"a,b\n" + b"x" * 5000, b"a,b\n" + b"x" * 1500 + b"\n1,2\n"):
        path.write_bytes(gzip.compress(content) if packed else content)
        for piece_bytes in (500, 10_000):
            with pytest.raises(FileRefusedError, match="a line is longer than"):
                list(receive.read_rows(path, receive.Dialect(), piece_bytes=piece_bytes))


def test_a_quote_that_never_closes_costs_one_line(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text('a,b\n1,2\n3,"4\n5,6\n' + "7,8\n" * 3000)
    for piece_bytes in (64, 10**6):
        found = list(receive.read_rows(path, receive.Dialect(), piece_bytes=piece_bytes))
        odd = [o for b in found for o in b.odd]
        assert [(o.line_no, o.raw, o.note) for o in odd] == [(3, '3,"4', exact_reader.UNCLOSED)]
        assert sum(b.frame.height for b in found) == 3003
        assert sum(b.records for b in found) == 3004


def test_a_quoted_line_end_keeps_the_line_numbers_right(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text('a,b\n1,"two\n\nlines"\n3,4\n')
    batch = next(receive.read_rows(path, receive.Dialect()))
    assert batch.frame.rows() == [(1, "a", "b"), (2, "1", "two\n\nlines"), (5, "3", "4")]
    assert batch.reader == "exact"


def test_escape_and_other_marks(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("a;b\n'it\\'s';2\n")
    batch = next(receive.read_rows(path, receive.Dialect(delimiter=";", quote="'", escape="\\")))
    assert batch.frame.rows() == [(1, "a", "b"), (2, "it's", "2")]
    path.write_text('a\tb\n"1"\t2"\n')
    batch = next(receive.read_rows(path, receive.Dialect(delimiter="\t", quote=None)))
    assert batch.frame.rows() == [(1, "a", "b"), (2, '"1"', '2"')]


@pytest.mark.parametrize("quoted", ["all", "some"])
def test_quoted_files_are_read_fast_and_right(tmp_path: Path, quoted: str) -> None:
    path = tmp_path / "x.csv"
    rows = [[str(i), "Bad, lost" if i % 3 == 0 else "Good"] for i in range(30_000)]
    with path.open("w", newline="") as out:
        csv.writer(out, quoting=csv.QUOTE_ALL if quoted == "all" else csv.QUOTE_MINIMAL).writerows(rows)
    found = list(receive.read_rows(path, receive.Dialect()))
    assert {b.reader for b in found} == {"fast"}
    assert pl.concat([b.frame for b in found]).select("c0", "c1").rows() == [tuple(r) for r in rows]


def layout(**more: object) -> Layout:
    return Layout(id="x", kind="long", files="*", time_column="a", tag_column="b", value_column="c", **more)


@settings(max_examples=200)
@given(ROWS, st.sampled_from(["\n", "\r\n", "\r"]), st.booleans(), st.sampled_from([16, 10**6]))
def test_raw_lines_are_the_records_the_reader_saw(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]], end: str, ended: bool, piece_bytes: int
) -> None:
    text = end.join(",".join(r) for r in rows) + (end if ended else "")
    path = tmp_path_factory.mktemp("x") / "x.csv"
    path.write_bytes(text.encode())
    starts = sorted(taken([text.encode()] if text else [], Width(2, -1), receive.Dialect())[0])
    got = receive.raw_lines(path, layout(), starts, piece_bytes=piece_bytes)
    assert sorted(got) == starts
    physical = io.StringIO(text, newline="").readlines()
    for line, following in zip(starts, [*starts[1:], len(physical) + 1], strict=True):
        assert got[line] == "".join(physical[line - 1 : following - 1]).rstrip("\r\n")
    assert receive.raw_lines(path, layout(), []) == {}
    assert receive.raw_lines(path, layout(), [10_000]) == {}
