"""What tests share: no call home, no surroundings, and one small demonstration home a session."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from pipelines.base import file_lock
from pipelines.base.home import Home

ROOT = Path(__file__).resolve().parents[1]
os.environ.update({"DO_NOT_TRACK": "1", "PREFECT_SERVER_ANALYTICS_ENABLED": "false"})
# A busy machine is slow, not wrong; the same examples on every run, so that a failure is seen by everyone.
settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")

DEMO_WEEKS, DEMO_NIGHTS = 2, 2  # enough for two weeks with pages, and for nightly runs after a backfill


@pytest.fixture(autouse=True)
def _own_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take away what the surroundings of the test run could change."""
    for name in ("FLOCLEDGER_HOME", "PREFECT_API_URL", "PREFECT_HOME"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture(scope="session")
def home_in() -> Callable[[Path], Home]:
    """Give what makes a home with the first invented plant and an empty inbox in a folder."""

    def made(folder: Path) -> Home:
        home = Home(folder)
        home.plant_file("alder-fork").parent.mkdir(parents=True)
        shutil.copyfile(ROOT / "sample_data" / "plants" / "alder-fork.toml", home.plant_file("alder-fork"))
        home.inbox("alder-fork").mkdir(parents=True)
        return home

    return made


@pytest.fixture
def home_with_a_day(tmp_path: Path, home_in: Callable[[Path], Home]) -> Home:
    """A home whose inbox holds the first small export of its plant."""
    made = home_in(tmp_path)
    shutil.copy(ROOT / "sample_data" / "small" / "exports" / "ALDER_SCADA_20260105.csv", made.inbox("alder-fork"))
    return made


@pytest.fixture(scope="session")
def demo_made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A small demonstration home, made by the command line in a process of its own, and what it printed.

    Made once, whichever worker of the test run asks first. Shared: read it, or copy it (`demo_home`) to write.
    """
    is_worker = "PYTEST_XDIST_WORKER" in os.environ
    root = tmp_path_factory.getbasetemp().parent if is_worker else tmp_path_factory.getbasetemp()
    folder, printed = root / "demo", root / "demo" / "printed.txt"
    with file_lock.waiting_for(root / "demo.lock"):
        if not printed.exists():
            folder.mkdir()
            printed.write_text(_demonstration(folder), encoding="utf-8")
    return folder / "flocledger-demo", printed.read_text(encoding="utf-8")


def _demonstration(folder: Path) -> str:
    command = [sys.executable, "-m", "pipelines", "demo", "--weeks", str(DEMO_WEEKS), "--nights", str(DEMO_NIGHTS)]
    surroundings = {k: v for k, v in os.environ.items() if k != "FLOCLEDGER_HOME"} | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, capture_output=True, text=True, cwd=folder, env=surroundings, check=False, timeout=600)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture
def demo_home(demo_made: tuple[Path, str], tmp_path: Path) -> Path:
    """A copy of the demonstration home, to write into."""
    target = tmp_path / "flocledger-demo"
    shutil.copytree(demo_made[0], target)
    return target
