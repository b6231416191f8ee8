"""A run killed while it publishes: what it wrote into the ledger was never known, and is known from the run that publishes it."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import order
from pipelines.base.home import Home
from pipelines.store import connect

ROOT = Path(__file__).resolve().parents[3]
PLANT = "alder-fork"
FIRST = datetime(2026, 2, 1, tzinfo=UTC)
EXPORTS = ROOT / "sample_data" / "small" / "exports"
KILLED = """
import os, sys
from datetime import datetime
from pathlib import Path
from pipelines import order
from pipelines.base.home import Home
from pipelines.publish import database
real = database.build
def build(*given, **how):
    if sys.argv[3] == "after":
        real(*given, **how)
    os._exit(9)
database.build = build
order.nightly(Home(Path(sys.argv[1])), "alder-fork", datetime.fromisoformat(sys.argv[2]))
"""


@pytest.fixture
def home(tmp_path: Path, home_in: Callable[[Path], Home]) -> Home:
    made = home_in(tmp_path)
    deliver(made, "ALDER_SCADA_20260105.csv")
    return made


def deliver(home: Home, name: str) -> None:
    (home.inbox(PLANT) / name).write_bytes((EXPORTS / name).read_bytes())


def killed(home: Home, when: datetime, where: str) -> None:
    command = [sys.executable, "-c", KILLED, str(home.root), when.isoformat(), where]
    assert subprocess.run(command, cwd=ROOT, capture_output=True, check=False).returncode == 9


def known_from(home: Home) -> set[datetime]:
    con = connect(home.database, read_only=True)
    try:
        return {at for (at,) in con.execute("SELECT DISTINCT known_from_utc FROM kpi_day_history").fetchall()}
    finally:
        con.close()


def test_killed_before_the_first_publication(home: Home) -> None:
    killed(home, FIRST, "before")
    order.nightly(home, PLANT, FIRST + timedelta(days=5))
    assert known_from(home) == {FIRST + timedelta(days=5)}


def test_killed_after_the_swap_the_versions_were_known(home: Home) -> None:
    killed(home, FIRST, "after")
    order.nightly(home, PLANT, FIRST + timedelta(days=5))
    assert known_from(home) == {FIRST}


def test_a_rebuild_after_the_kill_makes_nothing_known_earlier(home: Home) -> None:
    order.nightly(home, PLANT, FIRST)
    deliver(home, "ALDER_SCADA_20260107.csv")
    killed(home, FIRST + timedelta(days=1), "before")
    order.rebuild(home, PLANT, as_of=FIRST + timedelta(days=5))
    assert known_from(home) == {FIRST, FIRST + timedelta(days=5)}
