"""Cases that fuzzing found, kept: each once read differently by two readers, ended in an error, or took very long."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines import inspect, receive
from pipelines.base import clock
from pipelines.files.original import FileRefusedError
from pipelines.receive.text import reader

BOM = "\ufeff"
DIALECT = receive.Dialect()


def rows(path: Path, piece_bytes: int) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    batches = list(receive.read_rows(path, DIALECT, piece_bytes=piece_bytes))
    return [r for b in batches for r in b.frame.iter_rows()], [(o.line_no, o.fields, o.note) for b in batches for o in b.odd]


def both_readers(path: Path, monkeypatch: pytest.MonkeyPatch, piece_bytes: int = 1 << 20) -> list[object]:
    fast = rows(path, piece_bytes)
    monkeypatch.setattr(reader, "_fast_piece", lambda *_: None)
    exact = rows(path, piece_bytes)
    monkeypatch.undo()
    return [fast, exact]


def test_a_second_byte_order_mark_stays_in_its_field(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.csv"
    path.write_text(f"{BOM}{BOM}a,b\n1,2\n", encoding="utf-8")
    fast, exact = both_readers(path, monkeypatch)
    assert fast == exact == ([(1, f"{BOM}a", "b"), (2, "1", "2")], [])


def test_a_byte_order_mark_at_a_seam_stays_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.csv"
    path.write_text("a,b\n1,2\n" + f"{BOM}3,4\n" * 5, encoding="utf-8")
    fast, exact = both_readers(path, monkeypatch, piece_bytes=8)
    assert fast == exact
    assert fast[0][2:] == [(n, f"{BOM}3", "4") for n in range(3, 8)]  # type: ignore[index]


def test_a_file_whose_first_record_never_closes_its_quote(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text('"never closed\n1\n2\n', encoding="utf-8")
    found, odd = rows(path, 1 << 20)
    assert found == [(2, "1"), (3, "2")]
    assert odd == [(1, (), "a quote is opened here and never closed")]


def test_the_first_record_may_go_over_the_seam_of_pieces(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text('a,"b\nb\nb\nb",c\n1,2,3\n', encoding="utf-8")
    assert rows(path, 4) == rows(path, 1 << 20) == ([(1, "a", "b\nb\nb\nb", "c"), (5, "1", "2", "3")], [])


def test_inspecting_many_columns_of_odd_text_takes_no_time(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    line = "value,2026-01-05\x1406:02,quality,x%d,06:00+0,ok,n\n"
    path.write_text("".join(line % n for n in range(120)), encoding="utf-8")
    started = clock.stopwatch()
    with pytest.raises(FileRefusedError):
        inspect.run(path)
    assert clock.stopwatch() - started < 30
