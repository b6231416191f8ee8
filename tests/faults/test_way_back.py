"""Ways back that a person is told: a clock that was wrong, originals that are gone, damaged stores and published files, a full disk."""

from __future__ import annotations

import gc
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import cli, order, publish
from pipelines.base.errors import DataMissingError, ExitCode, UsageError
from pipelines.base.home import Home
from pipelines.base.receipts import ReceiptTime
from pipelines.runs.summary import Summary
from pipelines.store import connect
from pipelines.store.faults import DamagedFileError, SystemFaultError

ROOT = Path(__file__).resolve().parents[2]
EXPORTS = ROOT / "sample_data" / "small" / "exports"
PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, tzinfo=UTC)
DAY = timedelta(days=1)


def deliver(home: Home, number: int) -> None:
    path = home.inbox(PLANT) / f"ALDER_SCADA_2026010{number}.csv"
    shutil.copyfile(EXPORTS / path.name, path)
    os.utime(path, (1.7e9, 1.7e9))


@pytest.fixture(scope="module")
def after_two_nights(tmp_path_factory: pytest.TempPathFactory, home_in: Callable[[Path], Home]) -> Home:
    """A home with two exports taken in on two nights, published; to be copied."""
    made = home_in(tmp_path_factory.mktemp("two-nights") / "home")
    for night, number in enumerate((5, 6)):
        deliver(made, number)
        order.nightly(made, PLANT, WHEN + night * DAY)
    return made


@pytest.fixture
def home(tmp_path: Path, after_two_nights: Home) -> Home:
    """A copy of the home after two nights, to damage."""
    return Home(Path(shutil.copytree(after_two_nights.root, tmp_path / "home")))


def names(summary: Summary) -> list[str]:
    return [notice.name for notice in summary.notices if notice.name != "lines.no_data"]


def content(home: Home) -> dict[str, str]:
    """Hashes of what is published, but of the table that says since when the plant file was used."""
    return {table: found for table, found in publish.hashes(home).items() if not table.endswith("plant_file_versions")}


def overwrite(path: Path, at: float = 0.5, count: int = 4096) -> None:
    """Damage a file in its middle, as a failing disk does."""
    path.chmod(0o644)
    with path.open("r+b") as file:
        file.seek(int(path.stat().st_size * at))
        file.write(os.urandom(count))


def cut(path: Path) -> None:
    path.chmod(0o644)
    os.truncate(path, path.stat().st_size // 2)


def empty(path: Path) -> None:
    path.chmod(0o644)
    path.write_bytes(b"")


def test_a_clock_behind_stops_the_night_before_anything_is_taken_in(home: Home) -> None:
    deliver(home, 7)
    with pytest.raises(UsageError, match="lies before the newest receipt") as caught:
        order.nightly(home, PLANT, WHEN - DAY)
    assert "set the clock" in caught.value.remedy
    assert [p.name for p in home.inbox(PLANT).iterdir()] == ["ALDER_SCADA_20260107.csv"]
    order.nightly(home, PLANT, WHEN + DAY - timedelta(minutes=5))  # a correction of the clock by minutes is no reason


def test_a_clock_that_was_ahead_is_mended_by_other_times_of_receipt(home: Home) -> None:
    before = publish.hashes(home)
    deliver(home, 7)
    order.nightly(home, PLANT, WHEN + 400 * DAY)
    with pytest.raises(UsageError, match="--receipt 3="):
        order.nightly(home, PLANT, WHEN + 2 * DAY)
    assert (
        cli.run(["--home", str(home.root), "rebuild", "--plant", PLANT, "--receipt", f"3={(WHEN + 2 * DAY).isoformat()}"])
        < ExitCode.DATA_MISSING
    )
    assert names(order.nightly(home, PLANT, WHEN + 2 * DAY)) == []
    con = connect(home.database, read_only=True)
    received = con.execute("SELECT received_utc FROM loads WHERE received_seq = 3").fetchall()
    con.close()
    assert received == [(WHEN + 2 * DAY,)]
    assert before != publish.hashes(home)


def test_rows_set_aside_by_a_clock_behind_count_after_their_receipt_is_corrected(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    right, wrong = home_in(tmp_path / "right"), home_in(tmp_path / "wrong")
    for one in (right, wrong):
        deliver(one, 5)
    order.nightly(right, PLANT, WHEN)
    order.nightly(wrong, PLANT, datetime(2026, 1, 5, 20, tzinfo=UTC))  # in the evening of the day in the file
    assert content(right) != content(wrong)
    order.rebuild(wrong, PLANT, as_of=WHEN, receipt_times=[ReceiptTime(1, 1, WHEN)])
    assert content(right) == content(wrong)


def test_a_year_without_its_zeros_in_an_archived_name_is_read(home: Home) -> None:
    first = min(home.archive(PLANT).iterdir())
    first.rename(first.with_name(first.name.replace("_2026", "_26", 1)))
    (home.archive(PLANT) / "notes.txt").write_text("left by somebody")
    summary = order.rebuild(home, PLANT, as_of=WHEN + 2 * DAY)
    assert [r.status for r in summary.receipts] == ["taken", "taken"]
    assert names(summary) == ["archive.not_of_archive"]


@pytest.mark.parametrize("year", ["0001", "1969", "9999"])
def test_a_slip_of_the_year_is_refused(home: Home, capsys: pytest.CaptureFixture[str], year: str) -> None:
    assert cli.run(["--home", str(home.root), "nightly", "--as-of", f"{year}-01-01T00:00:00Z"]) == ExitCode.PLANT_FILE_OR_USAGE
    assert "outside the years" in capsys.readouterr().err


def test_rebuild_refuses_when_an_original_is_gone_unless_told(home: Home) -> None:
    before, gone = publish.hashes(home), max(home.archive(PLANT).iterdir())
    kept = gone.read_bytes()
    gone.unlink()
    with pytest.raises(DataMissingError, match=r"ALDER_SCADA_20260106\.csv") as caught:
        order.rebuild(home, PLANT, as_of=WHEN + 2 * DAY)
    assert "--without-missing" in caught.value.remedy
    assert publish.hashes(home) == before
    assert names(order.rebuild(home, PLANT, as_of=WHEN + 2 * DAY, without_missing=True)) == ["archive.missing"]
    gone.write_bytes(kept)
    order.rebuild(home, PLANT, as_of=WHEN + 3 * DAY)
    assert publish.hashes(home) == before


@pytest.mark.parametrize("damage", [overwrite, cut, empty])
def test_a_damaged_store_is_told_and_made_again_from_the_originals(home: Home, damage: Callable[[Path], None]) -> None:
    before = publish.hashes(home)
    ledger = "SELECT line, operating_day, version, known_from_utc FROM kpi_day_history ORDER BY ALL"
    con = connect(home.database, read_only=True)
    published = con.execute(ledger).fetchall()
    con.close()
    for at in (0.0, 0.02) if damage is overwrite else (0.0,):
        overwrite(home.store(PLANT), at, 8192) if damage is overwrite else damage(home.store(PLANT))
    with pytest.raises(DamagedFileError, match="damaged") as caught:
        order.nightly(home, PLANT, WHEN + 2 * DAY)
    assert f"flocledger rebuild --plant {PLANT}" in caught.value.remedy
    order.rebuild(home, PLANT, as_of=WHEN + 2 * DAY)
    assert publish.hashes(home) == before
    assert len(list(home.store(PLANT).parent.glob("*.damaged-*"))) >= 1
    con = connect(home.database, read_only=True)
    assert con.execute(ledger).fetchall() == published
    con.close()


def test_status_shows_the_other_plants_when_a_store_is_damaged(demo_home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home = Home(demo_home)
    empty(home.store("brenholm"))
    capsys.readouterr()
    assert cli.run(["--home", str(demo_home), "status"]) == ExitCode.INTERNAL
    out = capsys.readouterr().out
    assert "flocledger rebuild --plant brenholm" in out
    assert all(f"\n{plant} " in out for plant in home.plants())


def test_a_restore_from_plants_and_archive_keeps_the_ledger(home: Home) -> None:
    deliver(home, 7)
    order.nightly(home, PLANT, WHEN + 2 * DAY)
    history = "SELECT * FROM kpi_day_history ORDER BY line, operating_day, version"
    con = connect(home.database, read_only=True)
    before = con.execute(history).fetchall()
    con.close()
    for folder in ("store", "published", "runs"):
        shutil.rmtree(home.root / folder)
    assert names(order.rebuild(home, PLANT, as_of=WHEN + 9 * DAY)) == ["archive.not_compared"]
    con = connect(home.database, read_only=True)
    assert con.execute(history).fetchall() == before
    con.close()
    for folder in ("store", "published"):
        shutil.rmtree(home.root / folder)
    home.ledger(PLANT).unlink()
    assert "ledger.absent" in names(order.rebuild(home, PLANT, as_of=WHEN + 9 * DAY))


@pytest.mark.parametrize(
    ("of", "damage"),
    [("all plants", overwrite), ("all plants", empty), ("all plants", Path.unlink), ("one plant", overwrite), ("one plant", cut)],
)
def test_a_damaged_or_lost_published_file_comes_back_whole(demo_home: Path, damage: Callable[[Path], None], of: str) -> None:
    home = Home(demo_home)
    before = publish.hashes(home)
    damage(home.database if of == "all plants" else home.published_plant("brenholm"))
    if damage is overwrite:  # pages that a night does not touch are met by a rebuild, which reads all
        order.rebuild(home, "brenholm")
    else:
        order.nightly(home, "brenholm")
    assert publish.hashes(home) == before


@pytest.mark.parametrize("table", ["readings", "minutes", "kpi_day", "loads"])
def test_a_cut_parquet_file_is_told_and_written_again(home: Home, table: str) -> None:
    before = publish.hashes(home)
    cut(max((home.parquet / table / f"plant={PLANT}").rglob("*.parquet")))
    assert "published.parquet_damaged" in names(order.nightly(home, PLANT, WHEN + 2 * DAY))
    assert publish.hashes(home) == before


def test_a_reader_that_opened_the_published_file_for_writing_does_not_stop_the_night(home: Home) -> None:
    assert {path.stat().st_mode & 0o777 for path in (home.database, home.published_plant(PLANT))} == {0o444}
    holder = "import duckdb, sys; con = duckdb.connect(sys.argv[1]); print('open', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", holder, str(home.published_plant(PLANT))], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as reader:
        assert reader.stdout is not None
        assert reader.stdin is not None
        assert reader.stdout.readline() == "open\n"
        deliver(home, 7)
        summary = order.nightly(home, PLANT, WHEN + 2 * DAY)
        (notice,) = (n for n in summary.notices if n.name == "published.opened_for_writing")
        assert f"process {reader.pid}" in notice.sentence
        reader.stdin.close()
        reader.wait(30)
    order.rebuild(home, PLANT, as_of=WHEN + 3 * DAY)
    con = connect(home.database, read_only=True)
    assert con.execute("SELECT count(*) FROM loads").fetchall() == [(3,)]
    con.close()


@pytest.mark.parametrize("place", ["store", "archive", "published", "runs"])
def test_a_file_in_the_place_of_a_folder_is_told_with_path_and_remedy(tmp_path: Path, home_in: Callable[[Path], Home], place: str) -> None:
    home = home_in(tmp_path)
    deliver(home, 5)
    (home.root / place).write_text("in the way")
    if place == "runs":
        assert names(order.nightly(home, PLANT, WHEN)) == ["run.record_not_written"]
        return
    with pytest.raises(SystemFaultError) as caught:
        order.nightly(home, PLANT, WHEN)
    assert str(home.root / place) in str(caught.value)
    assert "are safe" in caught.value.remedy
    (home.root / place).unlink()
    del caught  # its traceback holds the store open in this process
    gc.collect()
    assert [r.status for r in order.nightly(home, PLANT, WHEN).receipts] == (["taken"] if place != "published" else [])


def test_a_slow_copy_loses_no_row(home: Home) -> None:
    """A writer that goes on over two nights, its file open: the first night leaves it, the second takes all of it."""
    deliver(home, 7)
    path = home.inbox(PLANT) / "ALDER_SCADA_20260107.csv"
    content_of_file = path.read_bytes()
    path.unlink()
    with path.open("wb") as writer:
        writer.write(content_of_file[:5000])
        writer.flush()
        os.utime(path, (1.7e9, 1.7e9))
        summary = order.nightly(home, PLANT, WHEN + 2 * DAY)
        assert (summary.receipts, names(summary)) == ([], ["inbox.left"])
        writer.write(content_of_file[5000:])
    (receipt,) = order.nightly(home, PLANT, WHEN + 3 * DAY).receipts
    assert receipt.rows_read == content_of_file.count(b"\n")


def test_rows_added_to_an_archived_file_are_taken_in_by_the_next_night(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    """A writer that still has the file open when it is archived, as over a network share that tells nothing of it."""
    home = home_in(tmp_path)
    deliver(home, 5)
    whole = (home.inbox(PLANT) / "ALDER_SCADA_20260105.csv").read_bytes()
    lines = whole.splitlines(keepends=True)
    first = b"".join(lines[: len(lines) // 2])
    (home.inbox(PLANT) / "ALDER_SCADA_20260105.csv").write_bytes(first)
    order.nightly(home, PLANT, WHEN)
    (kept,) = home.archive(PLANT).iterdir()
    kept.chmod(0o644)
    kept.write_bytes(whole)
    summary = order.nightly(home, PLANT, WHEN + DAY)
    assert names(summary) == ["archive.size_changed"]
    assert [(r.status, r.rows_kept > 0, r.rows_duplicate > 0) for r in summary.receipts] == [("taken", True, True)]
    assert kept.read_bytes() == first
    assert names(order.nightly(home, PLANT, WHEN + 2 * DAY)) == []
    before = content(home)
    order.rebuild(home, PLANT, as_of=WHEN + 3 * DAY)
    assert content(home) == before


def test_a_first_night_with_the_clock_behind_destroys_nothing(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    right, wrong = home_in(tmp_path / "right"), home_in(tmp_path / "wrong")
    for one in (right, wrong):
        deliver(one, 5)
    summary = order.nightly(wrong, PLANT, datetime(2025, 1, 1, tzinfo=UTC))
    assert (summary.receipts, names(summary)) == ([], ["inbox.left"])
    assert "set the clock" in summary.notices[0].sentence
    assert [p.name for p in wrong.inbox(PLANT).iterdir()] == ["ALDER_SCADA_20260105.csv"]
    for one in (right, wrong):
        order.nightly(one, PLANT, WHEN)
    assert content(right) == content(wrong)
