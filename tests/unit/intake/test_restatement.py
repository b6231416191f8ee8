"""Late data beyond the restatement horizon: taken in, held, and restated by command to what a rebuild gives."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import cli, order, publish
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.store import Store, restatement
from tests.plants import plant_file

ROOT = Path(__file__).resolve().parents[3]
EXPORTS = ROOT / "sample_data" / "small" / "exports"
PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, tzinfo=UTC)


def deliver(home: Home, name: str) -> None:
    path = Path(shutil.copyfile(EXPORTS / name, home.inbox(PLANT) / name))
    os.utime(path, (1.7e9, 1.7e9))


def content(home: Home) -> dict[str, str]:
    return {table: found for table, found in publish.hashes(home).items() if not table.endswith("plant_file_versions")}


def held(home: Home) -> list[date]:
    with Store(home.store(PLANT), PLANT) as store:
        return store.pending_days(restatement.STAGE)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, home_in: Callable[[Path], Home]) -> Home:
    """A home with a horizon of three days, whose published days are 5 and 10 to 11 January; the tests below use it one after the other."""
    made = home_in(tmp_path_factory.mktemp("restatement"))
    path = made.plant_file(PLANT)
    path.write_text(path.read_text(encoding="utf-8").replace("[plant]\n", "[plant]\nrestate_days = 3\n", 1), encoding="utf-8")
    for name in ("ALDER_SCADA_20260105.csv", "ALDER_SCADA_20260110.csv", "ALDER_SCADA_20260111.csv"):
        deliver(made, name)
    order.nightly(made, PLANT, WHEN)
    return made


def test_nothing_to_restate_exits_with_2(home: Home) -> None:
    assert cli.run(["--home", str(home.root), "backfill", "--plant", PLANT]) == ExitCode.DATA_MISSING
    assert cli.run(["--home", str(home.root), "backfill", "--plant", PLANT, "--from", "2027-01-01"]) == ExitCode.DATA_MISSING


def test_a_range_is_computed_again_and_published_once(home: Home) -> None:
    before, told = content(home), list[tuple[int, int]]()
    summary = order.backfill(home, PLANT, date(2026, 1, 1), date(2026, 1, 6), progress=lambda *said: told.append(said))
    assert [step.step for step in summary.steps].count("publish") == 1
    assert told[-1][0] == told[-1][1] > 0
    assert content(home) == before


def test_old_late_data_wait_and_a_backfill_gives_what_a_rebuild_gives(home: Home, capsys: pytest.CaptureFixture[str]) -> None:
    before = publish.hashes(home)["kpi_day"]
    deliver(home, "ALDER_LAB_20260106.csv")  # results of 5 January, published before
    summary = order.nightly(home, PLANT, WHEN + timedelta(days=1))
    assert [n.name for n in summary.notices if n.name != "lines.no_data"] == [restatement.HELD]
    assert f"flocledger backfill --plant {PLANT}" in next(n.sentence for n in summary.notices if n.name == restatement.HELD)
    assert date(2026, 1, 5) in held(home)
    assert publish.hashes(home)["kpi_day"] == before
    assert cli.run(["--home", str(home.root), "backfill", "--plant", PLANT]) <= ExitCode.WARNINGS
    assert "of" in capsys.readouterr().err
    assert held(home) == []
    restated = content(home)
    order.rebuild(home, PLANT, as_of=WHEN + timedelta(days=3))
    assert content(home) == restated
    assert restated["kpi_day"] != before


@pytest.mark.parametrize(
    ("held_days", "expected_h"),
    [((), [(0, 72)]), ((1,), [(0, 24), (48, 72)]), ((0, 1), [(48, 72)]), ((0, 1, 2), [])],
)
def test_spans_leave_out_held_days(held_days: tuple[int, ...], expected_h: list[tuple[int, int]]) -> None:
    plant, start = plant_file(time_zone="UTC"), datetime(2026, 3, 1, tzinfo=UTC)
    days = frozenset(date(2026, 3, 1) + timedelta(days=k) for k in held_days)
    found = list(restatement.unheld_spans(plant, start, start + timedelta(days=3), days))
    assert found == [(start + timedelta(hours=a), start + timedelta(hours=b)) for a, b in expected_h]
