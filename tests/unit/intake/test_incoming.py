"""Files of the inbox read ahead: which ones, that each is taken once and in order, and that nothing stays open."""

from __future__ import annotations

import errno
import os
import shutil
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import pytest

from pipelines import receive
from pipelines.base.errors import InternalError, LockedError
from pipelines.base.home import Home
from pipelines.intake import load_files
from pipelines.intake.incoming import Incoming
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.runs import records
from pipelines.store import Store

ROOT = Path(__file__).resolve().parents[3]
PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, tzinfo=UTC)
EXPORT = ROOT / "sample_data" / "small" / "exports" / "ALDER_SCADA_20260105.csv"
LAB = ROOT / "sample_data" / "small" / "exports" / "ALDER_LAB_20260106.csv"


@pytest.fixture
def home(tmp_path: Path, home_in: Callable[[Path], Home]) -> Home:
    return home_in(tmp_path)


@pytest.fixture
def plant_file(home: Home) -> PlantFile:
    return loader.load(home.plant_file(PLANT))


def deliver(home: Home, *files: tuple[str, bytes]) -> None:
    """Put files into the inbox, one older than the next."""
    for age, (name, data) in enumerate(files):
        path = home.inbox(PLANT) / name
        path.write_bytes(data)
        os.utime(path, (1.7e9 + age, 1.7e9 + age))


def export(number: int) -> tuple[str, bytes]:
    """A small export, made another content by blank lines at its end."""
    return f"ALDER_SCADA_2026010{number}.csv", EXPORT.read_bytes() + b"\n" * number


def lab() -> tuple[str, bytes]:
    return LAB.name, LAB.read_bytes()


def threads() -> set[str]:
    return {t.name.rsplit("_", 1)[0] for t in threading.enumerate() if t.name.startswith(("ahead", "hash"))}


def read_ahead(home: Home, plant_file: PlantFile) -> list[tuple[str, bool]]:
    found = []
    with Incoming(home, plant_file, WHEN) as files:
        for path, fingerprint, reading in files:
            assert fingerprint() == receive.fingerprint(path)
            assert reading is None or reading.received.source.path == path
            found.append((path.name, reading is not None))
    assert threads() == set()
    return found


def test_large_exports_are_read_ahead_in_the_order_of_the_inbox(home: Home, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(receive, "EARLY_BYTES", 1)
    deliver(home, lab(), export(1), export(2), ("ALDER_NOTES_20260116.csv", b"no layout\n"), export(3))
    found = read_ahead(home, plant_file)
    assert [ahead for _, ahead in found] == [False, True, True, False, True]
    assert [name for name, _ in found] == [LAB.name, export(1)[0], export(2)[0], "ALDER_NOTES_20260116.csv", export(3)[0]]


def test_small_files_are_read_when_it_is_their_turn(home: Home, plant_file: PlantFile) -> None:
    deliver(home, export(1), export(2))
    assert read_ahead(home, plant_file) == [(export(1)[0], False), (export(2)[0], False)]


def test_each_file_is_looked_at_once_and_one_at_a_time_is_open(home: Home, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch) -> None:
    looked_at: list[str] = []
    open_early = receive.open_early

    def seen(path: Path, of: PlantFile) -> receive.FileRows | None:
        looked_at.append(path.name)
        return open_early(path, of)

    monkeypatch.setattr(receive, "EARLY_BYTES", 1)
    monkeypatch.setattr(receive, "open_early", seen)
    deliver(home, lab(), export(1), export(2), ("ALDER_LAB_20260107.csv", LAB.read_bytes() + b"\n"))
    with Incoming(home, plant_file, WHEN) as files:
        assert looked_at == [LAB.name, export(1)[0]]  # begun before there is a store
        for path, _, reading in files:
            if reading is not None:
                assert looked_at[-1] == path.name  # the next one waits until this one is read
    assert looked_at == [LAB.name, export(1)[0], export(2)[0], "ALDER_LAB_20260107.csv"]


def test_read_ahead_or_not_the_store_is_the_same(home: Home, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = []
    for early in (1, 2**40):
        monkeypatch.setattr(receive, "EARLY_BYTES", early)
        deliver(home, lab(), export(1), ("ALDER_SCADA_20260109.csv", export(1)[1]), export(2))
        with Store(home.store(PLANT), PLANT) as store:
            receipts, notices = load_files.load_inbox(home, store, plant_file, WHEN)
            assert notices == []
            assert [r.status for r in receipts] == ["taken", "taken", "known already", "taken"]
            kept.append(store.rows("SELECT tag, time_utc, value, quality, load_id FROM readings ORDER BY ALL"))
        assert list(home.inbox(PLANT).iterdir()) == []
        home.store(PLANT).unlink()
        shutil.rmtree(home.archive(PLANT))
    assert kept[0]
    assert kept[0] == kept[1]


def broken_off(home: Home, plant_file: PlantFile) -> None:
    with Incoming(home, plant_file, WHEN) as files:
        for _, _, reading in files:
            if reading is not None:
                raise RuntimeError("disk full")


def test_a_run_that_breaks_lets_go_of_the_file(home: Home, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(receive, "EARLY_BYTES", 1)
    deliver(home, lab(), export(1), export(2))
    with pytest.raises(RuntimeError, match="disk full"):
        broken_off(home, plant_file)
    assert threads() == set()
    with Incoming(home, plant_file, WHEN):
        pass  # never asked for a file
    assert threads() == set()
    assert sorted(p.name for p in home.inbox(PLANT).iterdir()) == sorted([LAB.name, export(1)[0], export(2)[0]])


def test_a_file_that_cannot_be_read_stays_and_is_told(home: Home, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch) -> None:
    def locked(_: Path) -> receive.inbox.Original:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(receive, "EARLY_BYTES", 1)
    monkeypatch.setattr(receive, "fingerprint", locked)
    deliver(home, export(1))
    with Store(home.store(PLANT), PLANT) as store:
        receipts, notices = load_files.load_inbox(home, store, plant_file, WHEN)
    assert receipts == []
    assert [n.name for n in notices] == ["inbox.file_locked"]
    assert [p.name for p in home.inbox(PLANT).iterdir()] == [export(1)[0]]
    assert threads() == set()


def test_a_file_written_on_while_it_is_archived_is_told(home: Home, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch) -> None:
    real = receive.archive

    def goes_on(home: Home, plant: str, original: receive.inbox.Original, seq: int, received_utc: datetime) -> str:
        if original.file_name == export(1)[0]:
            with original.path.open("ab") as file:
                file.write(b"\n")
        return real(home, plant, original, seq, received_utc)

    monkeypatch.setattr(receive, "archive", goes_on)
    deliver(home, export(1), export(2))
    with Store(home.store(PLANT), PLANT) as store:
        receipts, notices = load_files.load_inbox(home, store, plant_file, WHEN)
    assert [r.status for r in receipts] == ["taken", "taken"]
    assert [(n.name, n.data["file"]) for n in notices] == [("archive.still_written", export(1)[0])]


def failing(monkeypatch: pytest.MonkeyPatch, name: str, error: BaseException) -> None:
    """Have one file meet an error nobody foresaw, wherever it is opened."""
    real = receive.open_file

    def opened(path: Path, file_name: str, *given: object, **how: object) -> receive.FileRows:
        if file_name == name:
            raise error
        return real(path, file_name, *given, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(receive, "open_file", opened)


@pytest.mark.parametrize("early", [1, 2**40], ids=["begun early", "in its turn"])
@pytest.mark.parametrize(
    "error", [TypeError("no such thing"), PermissionError(13, "Permission denied"), duckdb.ConversionException("9e999")]
)
def test_an_error_nobody_foresaw_sets_its_file_aside_and_the_others_go_on(
    home: Home, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch, error: Exception, early: int
) -> None:
    monkeypatch.setattr(receive, "EARLY_BYTES", early)
    failing(monkeypatch, export(1)[0], error)
    deliver(home, export(1), export(2))
    with Store(home.store(PLANT), PLANT) as store:
        receipts, notices = load_files.load_inbox(home, store, plant_file, WHEN)
        assert [(r.status, r.reason) for r in receipts] == [("set aside", "file not readable"), ("taken", None)]
        assert load_files.load_inbox(home, store, plant_file, WHEN) == ([], [])
        assert store.rows("SELECT line_no, reason FROM set_aside") == [(0, "file not readable")]
    (notice,) = notices
    assert notice.name == "file.unexpected_error"
    assert type(error).__name__ in notice.sentence
    assert type(error).__name__ in Path(str(notice.data["traceback"])).read_text(encoding="utf-8")
    assert threads() == set()


@pytest.mark.parametrize(
    "error",
    [KeyboardInterrupt(), MemoryError(), OSError(errno.ENOSPC, "No space left on device"), duckdb.IOException("disk"),
     duckdb.TransactionException("conflict"), InternalError("the receipt does not balance"), LockedError("held")],
    ids=lambda e: type(e).__name__,
)  # fmt: skip
def test_what_the_next_file_would_meet_too_stops_the_run(
    home: Home, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    failing(monkeypatch, export(1)[0], error)
    deliver(home, export(1), export(2))
    with Store(home.store(PLANT), PLANT) as store:
        with pytest.raises(type(error)):
            load_files.load_inbox(home, store, plant_file, WHEN)
        assert store.rows("SELECT count(*) FROM loads") == [(0,)]


def test_tracebacks_of_one_second_stand_side_by_side(home: Home) -> None:
    kept = {records.keep_traceback(home, ValueError(str(k)), PLANT) for k in range(3)}
    assert len(kept) == 3
    assert {path.read_text(encoding="utf-8").splitlines()[-1] for path in kept} == {f"ValueError: {k}" for k in range(3)}
    assert all(PLANT in path.name for path in kept)
