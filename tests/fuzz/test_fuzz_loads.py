"""Damaged files through a real store: a valid file of every layout, then bytes changed, cut, doubled and moved.

Whatever comes in, the file is taken with a receipt that balances or set aside with a reason; the same bytes read again give
the same receipt, and taken in twice change nothing. The examples are the same on every run; the long version is marked slow.
"""

from __future__ import annotations

import io
import tempfile
import zipfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines import receive
from pipelines.base import clock
from pipelines.base.receipts import Receipt
from pipelines.intake import load_files
from pipelines.plant import loader
from pipelines.store import Store
from schemas.vocabulary import REASONS

HERE = Path(__file__).resolve().parent
PLANT = loader.load(HERE / "plant.toml")
RECEIVED = datetime(2026, 12, 1, tzinfo=UTC)
SECONDS = 20.0  # a file of a few kilobytes takes some hundredths; a busy machine is slow, a hang is not
PIECES = (64, 1_000, 1 << 22)
ODD = (
    b"\x00",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\r",
    b"\n",
    b"\r\n",
    b'"',
    b"'",
    b"\\",
    b",",
    b";",
    b"\t",
    b"=",
    b"24:00",
    b"\x01",
    b"\xe2\x80\xa8",
    b"1e999",
    b"NaN",
)


def seeds() -> dict[str, bytes]:
    """Valid files by name: the text seeds, a workbook of the wide one, an archive of two."""
    found = {p.name: p.read_bytes() for p in sorted((HERE / "seeds").glob("*.csv"))}
    book = openpyxl.Workbook()
    assert book.active is not None
    for row in (["Time", "Feed", "Run"], ["", "gpm", ""], [datetime(2026, 1, 5, 6), 401.5, "RUN"], [datetime(2026, 1, 5, 6, 1), 402, True]):  # noqa: DTZ001
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name in ("long.csv", "labwide.csv"):
            archive.writestr(zipfile.ZipInfo(name), found[name])
    return {**found, "wide.xlsx": out.getvalue(), "box.zip": packed.getvalue()}


SEEDS = seeds()


@st.composite
def damaged(draw: st.DrawFn) -> tuple[str, bytes]:
    """A seed with up to six changes: a byte, an odd piece put in, a cut, a stretch doubled or moved elsewhere."""
    name = draw(st.sampled_from(sorted(SEEDS)))
    data = SEEDS[name]
    for _ in range(draw(st.integers(0, 6))):
        a, b = sorted((draw(st.integers(0, len(data))), draw(st.integers(0, len(data)))))
        match draw(st.sampled_from(("byte", "odd", "cut", "double", "move", "end"))):
            case "byte":
                data = data[:a] + draw(st.binary(min_size=1, max_size=1)) + data[a + 1 :]
            case "odd":
                data = data[:a] + draw(st.sampled_from(ODD)) + data[a:]
            case "cut":
                data = data[:a] + data[b:]
            case "double":
                data = data[:b] + data[a:b] + data[b:]
            case "move":
                data = data[:a] + data[b:] + data[a:b]
            case "end":
                data = data[:b]
    return name, data


def taken(folder: Path, name: str, data: bytes, piece_bytes: int) -> tuple[list[Receipt], list[tuple[object, ...]]]:
    """Take a file into a fresh store; receipts without their times, and the rows it left."""
    path = folder / name
    path.write_bytes(data)
    original = receive.fingerprint(path)
    real = receive.open_file

    def in_pieces(*given: object, **how: object) -> receive.FileRows:
        opened = real(*given, **how)  # type: ignore[arg-type]
        opened.piece_bytes = piece_bytes
        return opened

    with Store(folder / "p.duckdb", "fuzz") as store, pytest.MonkeyPatch.context() as patch:
        patch.setattr(receive, "open_file", in_pieces)
        found = load_files.check_in(store, PLANT, original, path, 1, RECEIVED)
        rows = store.rows("SELECT tag, time_utc, value, quality FROM readings ORDER BY ALL")
        rows += store.rows("SELECT line_no, reason, raw_text FROM set_aside ORDER BY ALL")
        again = load_files.load_file(_Nowhere(folder), store, PLANT, original, RECEIVED)  # type: ignore[arg-type]
        assert [r.status for r in again] == ["known already"]
        assert store.rows("SELECT count(*) FROM loads")[0][0] == len([r for r in found if r.status != "known already"])
    (folder / "p.duckdb").unlink()
    return [replace(r, seconds=0.0, exact_seconds=0.0) for r in found], rows


class _Nowhere:
    """A home that must not be asked for: a known file is not archived again."""

    def __init__(self, folder: Path) -> None:
        self.root = folder


def holds(case: tuple[str, bytes], piece_bytes: int) -> None:
    name, data = case
    with tempfile.TemporaryDirectory() as made:
        folder, started = Path(made), clock.stopwatch()
        found, rows = taken(folder, name, data, piece_bytes)
        assert found
        for receipt in found:
            assert receipt.balances
            assert receipt.status in ("taken", "set aside", "known already")
            assert set(receipt.reasons) <= set(REASONS)
            assert receipt.status != "set aside" or (receipt.reason in REASONS and receipt.detail)
        assert taken(folder, name, data, piece_bytes) == (found, rows)
        assert {p.name for p in folder.iterdir()} <= {"p.duckdb.wal"}  # nothing was written beside the store
        assert clock.stopwatch() - started < SECONDS


CHECKS = [HealthCheck.too_slow, HealthCheck.data_too_large]


@given(damaged(), st.sampled_from(PIECES))
@settings(max_examples=15, suppress_health_check=CHECKS)
def test_a_damaged_file_is_taken_or_set_aside_the_same_way_twice(case: tuple[str, bytes], piece_bytes: int) -> None:
    holds(case, piece_bytes)


@pytest.mark.slow
@given(damaged(), st.sampled_from(PIECES))
@settings(max_examples=3_000, suppress_health_check=CHECKS)
def test_many_damaged_files(case: tuple[str, bytes], piece_bytes: int) -> None:
    holds(case, piece_bytes)


@pytest.mark.parametrize("name", sorted(SEEDS))
def test_every_seed_is_a_file_that_is_taken(tmp_path: Path, name: str) -> None:
    found, rows = taken(tmp_path, name, SEEDS[name], PIECES[-1])
    assert [r.status for r in found] == ["taken"] * len(found)
    assert sum(r.values_kept for r in found) > 0
    assert rows or "lab" in name
