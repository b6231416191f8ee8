"""The committed small set with its listed damage, and files no reader can use: each set aside with its reason, the rest goes on."""

from __future__ import annotations

import csv
import os
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines import order
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.runs.summary import Summary
from pipelines.store import connect

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "sample_data" / "small"
PLANT = "alder-fork"
AS_OF = datetime(2026, 2, 1, 4, 0, tzinfo=UTC)
DAMAGE = list(csv.DictReader((SMALL / "damage.csv").read_text(encoding="utf-8").splitlines()))


def settled(path: Path) -> Path:
    os.utime(path, (1.7e9, 1.7e9))
    return path


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory, home_in: Callable[[Path], Home]) -> tuple[Home, Summary]:
    home = home_in(tmp_path_factory.mktemp("small"))
    for path in sorted((SMALL / "exports").iterdir()):
        settled(Path(shutil.copyfile(path, home.inbox(PLANT) / path.name)))
    return home, order.nightly(home, PLANT, AS_OF)


def test_every_listed_damage_has_its_expected_reason(taken: tuple[Home, Summary]) -> None:
    con = connect(taken[0].database, read_only=True)
    found = {
        (name, line): reason
        for name, line, reason in con.execute(
            "SELECT l.file_name, s.line_no, s.reason FROM set_aside s JOIN loads l USING (load_id)"
        ).fetchall()
    }
    con.close()
    listed = [d for d in DAMAGE if d["expected_reason"]]
    assert len(listed) >= 18
    for damage in listed:
        key = (damage["file"], int(damage["line"] or 0))
        assert found.pop(key, None) == damage["expected_reason"], damage
    assert found == {}  # and nothing else was set aside


def test_receipts_balance_and_warn(taken: tuple[Home, Summary]) -> None:
    summary = taken[1]
    assert summary.exit_code == ExitCode.WARNINGS
    assert all(r.balances for r in summary.receipts)
    assert len(summary.receipts) == len(list((SMALL / "exports").iterdir()))
    assert not list(taken[0].inbox(PLANT).iterdir())


def test_listed_duplicates_are_counted(taken: tuple[Home, Summary]) -> None:
    doubled = [d for d in DAMAGE if d["what"] == "row written twice"]
    receipt = next(r for r in taken[1].receipts if r.file_name == doubled[0]["file"])
    assert receipt.rows_duplicate == len(doubled)


def test_originals_are_archived_untouched(taken: tuple[Home, Summary]) -> None:
    kept = {p.name.split("_", 3)[-1]: p for p in taken[0].archive(PLANT).iterdir()}
    for path in (SMALL / "exports").iterdir():
        assert kept[path.name].read_bytes() == path.read_bytes()


UNUSABLE = {
    "ALDER_SCADA_20260301.csv": (b"", "file not readable"),
    "ALDER_SCADA_20260302.csv": (bytes(range(256)) * 40, "file not readable"),
    "ALDER_SCADA_20260303.csv": (b"Date;Flow\n2026-03-03;1\n", "unknown layout"),
    "letter.csv": (b"dear colleague\n", "unknown layout"),
    "ALDER_SCADA_20260304.csv.gz": (b"\x1f\x8b\x08\x00truncated", "file not readable"),
}


def test_unusable_files_are_set_aside_whole_and_the_others_go_on(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path)
    for name, (content, _) in UNUSABLE.items():
        (home.inbox(PLANT) / name).write_bytes(content)
        settled(home.inbox(PLANT) / name)
    good = "ALDER_SCADA_20260106.csv"
    settled(Path(shutil.copyfile(SMALL / "exports" / good, home.inbox(PLANT) / good)))
    summary = order.nightly(home, PLANT, AS_OF)
    by_name = {r.file_name: r for r in summary.receipts}
    assert {n: (r.status, r.reason) for n, r in by_name.items() if n != good} == {
        n: ("set aside", reason) for n, (_, reason) in UNUSABLE.items()
    }
    assert by_name[good].status == "taken"
    assert by_name[good].values_kept > 10_000
    assert summary.exit_code == ExitCode.WARNINGS
    archived = [p.read_bytes() for p in home.archive(PLANT).iterdir()]
    assert all(content in archived for content, _ in UNUSABLE.values())


def test_a_file_that_cannot_be_opened_stays_and_is_reported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, home_in: Callable[[Path], Home]
) -> None:
    from pipelines import receive

    home = home_in(tmp_path)
    for name in ("ALDER_SCADA_20260106.csv", "ALDER_SCADA_20260107.csv"):
        settled(Path(shutil.copyfile(SMALL / "exports" / name, home.inbox(PLANT) / name)))
    real = receive.fingerprint

    def locked(path: Path) -> object:  # root may open any file, so the refusal of the system is played
        if path.name == "ALDER_SCADA_20260106.csv":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(receive, "fingerprint", locked)
    summary = order.nightly(home, PLANT, AS_OF)
    assert [r.file_name for r in summary.receipts] == ["ALDER_SCADA_20260107.csv"]
    assert summary.notices[0].name == "inbox.file_locked"
    assert summary.exit_code == ExitCode.WARNINGS
    assert (home.inbox(PLANT) / "ALDER_SCADA_20260106.csv").exists()


def test_a_bad_plant_file_stops_before_anything_is_written(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    from pipelines.base.errors import PlantFileError

    home = home_in(tmp_path)
    text = home.plant_file(PLANT).read_text(encoding="utf-8")
    home.plant_file(PLANT).write_text(text.replace('feed_cutoff = "20 gpm"', 'feed_cutoff = "20 psi"'), encoding="utf-8")
    settled(Path(shutil.copyfile(SMALL / "exports" / "ALDER_SCADA_20260106.csv", home.inbox(PLANT) / "ALDER_SCADA_20260106.csv")))
    with pytest.raises(PlantFileError) as caught:
        order.nightly(home, PLANT, AS_OF)
    assert caught.value.exit_code == ExitCode.PLANT_FILE_OR_USAGE
    assert caught.value.line is not None
    assert "feed_cutoff" in str(caught.value)
    assert not home.store(PLANT).exists()
    assert not home.archive(PLANT).exists()
    assert (home.inbox(PLANT) / "ALDER_SCADA_20260106.csv").exists()


def test_the_second_writer_is_told_who_holds_the_store(tmp_path: Path) -> None:
    import subprocess
    import sys

    from pipelines.base.errors import LockedError
    from pipelines.store import Store

    path = tmp_path / "store" / "p.duckdb"
    holder = "import sys\nfrom pathlib import Path\nfrom pipelines.store.plant_store import Store\nwith Store(Path(sys.argv[1]), 'p'):\n    print('held', flush=True)\n    sys.stdin.read()\n"
    with subprocess.Popen(
        [sys.executable, "-c", holder, str(path)], stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True, cwd=ROOT
    ) as running:
        assert running.stdout is not None
        assert running.stdin is not None
        assert running.stdout.readline() == "held\n"
        with pytest.raises(LockedError, match=rf"process {running.pid}"):
            Store(path, "p")
        running.stdin.close()
        running.wait(30)
