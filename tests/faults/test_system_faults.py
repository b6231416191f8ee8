"""Faults of the machine, real ones: a full disk, a read-only file system, two runs at once, a server that stops in mid-run.

After each: a message with path, cause and remedy, and the tables and originals of a run that nothing disturbed.
"""

from __future__ import annotations

import gc
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines import order, publish
from pipelines.base import clock
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.store.faults import SystemFaultError

ROOT = Path(__file__).resolve().parents[2]
EXPORTS = ROOT / "sample_data" / "small" / "exports"
PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, tzinfo=UTC)
DISK_MB = 64
FREE_MB = (0.05, 0.5, 2, 6, 10, 16, 22)  # the night fails in archive, store, Parquet and published file


def deliver(home: Home, number: int) -> None:
    path = home.inbox(PLANT) / f"ALDER_SCADA_2026010{number}.csv"
    shutil.copyfile(EXPORTS / path.name, path)
    os.utime(path, (1.7e9, 1.7e9))


def content(home: Home) -> dict[str, str]:
    return {table: found for table, found in publish.hashes(home).items() if not table.endswith("plant_file_versions")}


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory, home_in: Callable[[Path], Home]) -> dict[str, str]:
    """Hashes of the tables that two exports give when nothing disturbs the night."""
    home = home_in(tmp_path_factory.mktemp("undisturbed"))
    for number in (5, 6):
        deliver(home, number)
    order.nightly(home, PLANT, WHEN)
    return content(home)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of its own; skips where this account may not mount one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={DISK_MB}m", "none", str(folder)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no small disk can be mounted here (needs root on Linux)")
    yield folder
    gc.collect()
    subprocess.run(["umount", "-l", str(folder)], check=True)


def stopped(home: Home) -> SystemFaultError | None:
    """Run a night; return the fault that stopped it, with nothing of the run left in this process."""
    try:
        order.nightly(home, PLANT, WHEN)
    except SystemFaultError as error:
        error.__traceback__ = error.__cause__ = error.__context__ = None
        return error
    finally:
        gc.collect()
    return None


def test_a_full_disk_stops_the_night_with_a_remedy_and_costs_nothing(
    disk: Path, home_in: Callable[[Path], Home], undisturbed: dict[str, str]
) -> None:
    home, ballast = home_in(disk / "home"), disk / "ballast"
    for number in (5, 6):
        deliver(home, number)
    met = []
    for free in FREE_MB:
        room = shutil.disk_usage(disk).free - int(free * 1e6)
        ballast.write_bytes(bytes(max(room, 0)))
        if error := stopped(home):
            met.append(free)
            assert "No space left" in str(error)
            assert "free space on that disk" in error.remedy
            assert "are safe" in error.remedy
        ballast.unlink()
    assert met[:2] == [0.05, 0.5]
    assert stopped(home) is None
    assert content(home) == undisturbed
    assert len(list(home.archive(PLANT).iterdir())) == 2


def test_a_read_only_file_system_stops_the_night_with_a_remedy(
    disk: Path, home_in: Callable[[Path], Home], undisturbed: dict[str, str]
) -> None:
    home = home_in(disk / "home")
    for number in (5, 6):
        deliver(home, number)
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    error = stopped(home)
    subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
    assert error is not None
    assert "Read-only file system" in str(error)
    assert "mount the file system writable" in error.remedy
    assert stopped(home) is None
    assert content(home) == undisturbed


def test_of_runs_at_once_one_works_and_the_others_name_it(
    tmp_path: Path, home_in: Callable[[Path], Home], undisturbed: dict[str, str]
) -> None:
    home = home_in(tmp_path)
    for number in (5, 6):
        deliver(home, number)
    command = [sys.executable, "-m", "pipelines", "--home", str(home.root), "nightly", "--as-of", WHEN.isoformat()]
    runs = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) for _ in range(3)]
    ended = [(run.communicate(timeout=300), run.returncode) for run in runs]
    codes = [code for _, code in ended]
    assert min(codes) <= ExitCode.WARNINGS
    assert set(codes) <= {ExitCode.OK, ExitCode.WARNINGS, ExitCode.PLANT_FILE_OR_USAGE}
    for (_, told), code in ended:
        assert "Traceback" not in told
        assert code != ExitCode.PLANT_FILE_OR_USAGE or "process " in told
    assert content(home) == undisturbed


@pytest.mark.slow
@pytest.mark.server
def test_a_server_that_stops_in_mid_run_costs_nothing(tmp_path: Path, home_in: Callable[[Path], Home], undisturbed: dict[str, str]) -> None:
    from pipelines.flows.serving import local_server
    from tests.flows.test_flows_server import free_port

    home = home_in(tmp_path / "home")
    for number in (5, 6):
        deliver(home, number)
    code = f"from datetime import datetime, UTC; from pipelines.flows.nightly import nightly; nightly({PLANT!r}, datetime(2026, 2, 1, tzinfo=UTC))"
    with local_server(tmp_path / "prefect", free_port(), start_s=200) as api:
        env = {**os.environ, "PREFECT_API_URL": api, "PREFECT_HOME": str(tmp_path / "client"), "FLOCLEDGER_HOME": str(home.root)}
        run = subprocess.Popen([sys.executable, "-c", code], env=env, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        ends = clock.stopwatch() + 120
        while not home.store(PLANT).exists() and clock.stopwatch() < ends:
            clock.wait(0.05)
    run.wait(300)  # the server is gone; how the run ends is its own affair
    order.nightly(home, PLANT, WHEN)
    assert content(home) == undisturbed
    assert not list(home.inbox(PLANT).iterdir())
