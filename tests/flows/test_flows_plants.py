"""Many plants on a task runner: the same tables as one after the other, one plant's failure alone, a worker killed in the middle."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from prefect.task_runners import ProcessPoolTaskRunner, ThreadPoolTaskRunner

from pipelines import order, publish
from pipelines.base.errors import ExitCode, UsageError
from pipelines.base.home import Home
from pipelines.flows import plants
from pipelines.flows.serving import local_server
from tests.flows.test_flows_server import free_port

ROOT = Path(__file__).resolve().parents[2]
WHEN = datetime(2026, 2, 1, tzinfo=UTC)
SMALL = ROOT / "sample_data" / "small" / "exports"
RUN_S = 600.0

RUN = """
import os, signal, sys, threading, time
from datetime import datetime, UTC
from pipelines.flows.plants import plants

def kill_a_worker():
    import psutil
    until = time.monotonic() + 300
    while time.monotonic() < until and sum(os.path.exists(f"{sys.argv[1]}/store/plant-{n:02}.duckdb") for n in range(12)) < 3:
        time.sleep(0.05)
    workers = [p for p in psutil.Process().children(recursive=True) if "spawn_main" in " ".join(p.cmdline())]
    print("killed", bool(workers), flush=True)
    if workers:
        workers[0].send_signal(signal.SIGKILL)

if __name__ == "__main__":
    if len(sys.argv) > 2:
        threading.Thread(target=kill_a_worker, daemon=True).start()
    state = plants(as_of=datetime(2026, 2, 1, tzinfo=UTC), return_state=True)
    print("state", state.name, state.message)
"""


def home_of(folder: Path, count: int) -> Home:
    """A home with so many plants alike, one export each in the inbox."""
    home = Home(folder)
    text = (ROOT / "sample_data" / "plants" / "alder-fork.toml").read_text(encoding="utf-8")
    for number in range(count):
        plant = f"plant-{number:02}"
        home.plant_file(plant).parent.mkdir(parents=True, exist_ok=True)
        home.plant_file(plant).write_text(text.replace('id = "alder-fork"', f'id = "{plant}"'), encoding="utf-8")
        home.inbox(plant).mkdir(parents=True)
        path = Path(shutil.copyfile(SMALL / "ALDER_SCADA_20260105.csv", home.inbox(plant) / "ALDER_SCADA_20260105.csv"))
        os.utime(path, (1.7e9, 1.7e9))
    return home


def side_by_side(home: Home, folder: Path, runner: str, *more: str) -> str:
    """Run the nights of all plants through a real server; return what the run printed."""
    program = folder / "run.py"
    program.write_text(RUN, encoding="utf-8")
    with local_server(folder / "prefect", free_port()) as api:
        surroundings = {
            **os.environ, "PREFECT_API_URL": api, "PREFECT_HOME": str(folder / "client"), "PYTHONPATH": str(ROOT), "FLOCLEDGER_HOME": str(home.root),
            "FLOCLEDGER_TASK_RUNNER": runner, "FLOCLEDGER_WORKERS": "2", "DASK_LOGGING__DISTRIBUTED": "error",
        }  # fmt: skip
        command = [sys.executable, str(program), str(home.root), *more]
        done = subprocess.run(command, capture_output=True, text=True, env=surroundings, cwd=folder, timeout=RUN_S, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


def test_the_configuration_names_the_task_runner(monkeypatch: pytest.MonkeyPatch) -> None:
    assert isinstance(plants.runner_of({}), ThreadPoolTaskRunner)
    assert isinstance(plants.runner_of({"FLOCLEDGER_TASK_RUNNER": "processes", "FLOCLEDGER_WORKERS": "3"}), ProcessPoolTaskRunner)
    with pytest.raises(UsageError, match="no task runner"):
        plants.runner_of({"FLOCLEDGER_TASK_RUNNER": "ray"})
    monkeypatch.setitem(sys.modules, "prefect_dask", None)
    with pytest.raises(UsageError, match="needs prefect-dask"):
        plants.runner_of({"FLOCLEDGER_TASK_RUNNER": "dask"})


def test_one_plant_that_fails_does_not_stop_the_others(tmp_path: Path) -> None:
    home = home_of(tmp_path, 1)
    found = [plants.plant_night.fn(name, str(home.root), WHEN) for name in ("nowhere", "plant-00")]
    assert found[0]["exit code"] == ExitCode.PLANT_FILE_OR_USAGE
    assert found[1]["exit code"] <= ExitCode.WARNINGS
    assert plants.state_of(found).is_failed()
    assert plants.state_of(found).message == "failed: nowhere"


@pytest.mark.server
@pytest.mark.parametrize("runner", ["threads"])
def test_side_by_side_gives_the_tables_of_one_after_the_other(tmp_path: Path, runner: str) -> None:
    together, after = home_of(tmp_path / "together", 3), home_of(tmp_path / "after", 3)
    assert "state Warnings" in side_by_side(together, tmp_path, runner)  # the demonstration's day is weeks old
    for plant in after.plants():
        order.nightly(after, plant, WHEN)
    assert publish.hashes(together) == publish.hashes(after)


@pytest.mark.slow
@pytest.mark.server
def test_twelve_plants_on_dask_survive_a_killed_worker(tmp_path: Path) -> None:
    pytest.importorskip("prefect_dask")
    together, after = home_of(tmp_path / "together", 12), home_of(tmp_path / "after", 12)
    told = side_by_side(together, tmp_path, "dask", "kill")
    assert "killed True" in told
    for plant in after.plants():
        order.nightly(together, plant, WHEN)  # the next night continues what was lost with the worker, if anything
        order.nightly(after, plant, WHEN)
    assert publish.hashes(together) == publish.hashes(after)
