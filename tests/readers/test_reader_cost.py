"""The receipt says how many rows needed the exact reader, and a file of many short tables costs no more than one long."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from pipelines import check, receive
from pipelines.base.receipts import Receipt
from pipelines.files.original import Original
from pipelines.files.pieces import Chunk
from pipelines.plant.model import PlantFile
from pipelines.receive.shapes import sections
from pipelines.store import Store

RECEIVED = datetime(2026, 1, 10, tzinfo=UTC)


def plant(*names: str) -> PlantFile:
    given = tomllib.loads((Path(__file__).parent / "plant.toml").read_text(encoding="utf-8"))
    base: dict[str, Any] = given.pop("base")
    return PlantFile.model_validate({**given, "layouts": [{"id": name, **base[name]} for name in names]})


def take(tmp_path: Path, text: str) -> tuple[Receipt, list[Any]]:
    path, file = tmp_path / "x.csv", plant("long")
    path.write_text(text, encoding="utf-8", newline="")
    with Store(Path(":memory:"), "cases") as store:
        opened = receive.open_file(path, "x.csv", file)
        original = Original(path, "x.csv", "a" * 64, path.stat().st_size)
        receipt = check.run(store, file, original, "x.csv", opened, lambda _: {}, seq=1, received_utc=RECEIVED)
        return receipt, store.rows("SELECT reader, layout, rows_read, rows_exact FROM loads")


def long_text(rows: int, odd: str = "") -> str:
    return (
        "time,tag,value\n"
        + odd
        + "".join(f"2026-01-05 {i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d},Feed,{i % 90}\n" for i in range(rows))
    )


def test_a_clean_file_costs_no_exact_reading(tmp_path: Path) -> None:
    receipt, loads = take(tmp_path, long_text(500))
    assert (receipt.rows_exact, receipt.exact_seconds) == (0, 0.0)
    assert loads == [("fast", "long", 501, 0)]


def test_a_quoted_line_end_sends_its_part_of_the_file_the_exact_way(tmp_path: Path) -> None:
    receipt, loads = take(tmp_path, long_text(500, odd='2026-01-04 00:00:00,"Fe\ned",1\n'))
    # the header is read apart; the file is one small piece, all of whose 501 rows go the exact way
    assert receipt.rows_exact == 501
    assert 0.0 < receipt.exact_seconds <= receipt.seconds
    assert loads == [("exact", "long", 502, 501)]


def test_in_a_large_file_only_the_part_with_the_quoted_line_end(tmp_path: Path) -> None:
    receipt, loads = take(tmp_path, long_text(80_000, odd='2026-01-04 00:00:00,"Fe\ned",1\n'))
    assert 0 < receipt.rows_exact < 25_000  # a part is 512 KiB, some 19,000 of these rows
    assert loads[0][2] == 80_002


def read(tmp_path: Path, text: str, *names: str) -> list[Chunk]:
    path = tmp_path / "x.csv"
    path.write_text(text, encoding="utf-8", newline="")
    return list(receive.open_file(path, "x.csv", plant(*names)).chunks())


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_many_short_tables_are_read_in_linear_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: str) -> None:
    given: list[int] = []
    true_next = sections.Stream.__next__

    def counted(stream: sections.Stream) -> bytes:
        piece = true_next(stream)
        given.append(len(piece))
        return piece

    monkeypatch.setattr(sections.Stream, "__next__", counted)
    monkeypatch.setattr(sections, "SMALLEST_PART", 1024)
    pages = [
        f"Time,{a},{b}{end}" + "".join(f"2026-01-05 {p // 60:02d}:{p % 60:02d}:{s:02d},{s},1{end}" for s in range(30))
        for p, (a, b) in enumerate([("Feed", "Poly"), ("Poly", "Feed")] * 150)
    ]
    text = "".join(pages)
    chunks = read(tmp_path, text, "wide")
    values = sum(c.values.height for c in chunks)
    assert values == 300 * 30 * 2
    assert sum(c.rows_read for c in chunks) == 300 * 31
    # each table is begun with a small piece and the one behind it: a few times the text, not three hundred times
    assert sum(given) < 8 * len(text)


def test_a_long_table_behind_a_short_one_is_read_fast(tmp_path: Path) -> None:
    text = "Time,Feed\n2026-01-05 00:00:00,1\n" + long_text(50_000)
    chunks = read(tmp_path, text, "wide", "long")
    assert sum(c.values.height for c in chunks) == 50_001
    assert sum(c.rows_exact for c in chunks) == 0
    assert len(chunks) < 20
