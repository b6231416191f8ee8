"""What users of Prefect expect, tried on a real server: deployments, a worker in any folder, a killed serve, missed runs, alerts."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from pipelines.base import clock
from pipelines.base.home import Home
from pipelines.flows.serving import local_server
from tests.flows.test_flows_plants import home_of
from tests.flows.test_flows_server import free_port
from tests.flows.web_hook import web_hook

ROOT = Path(__file__).resolve().parents[2]
pytestmark = [pytest.mark.server, pytest.mark.slow]
PATIENCE_S = 240.0  # on a loaded machine


def ask(api: str, path: str, body: dict[str, Any] | None = None, method: str = "POST") -> Any:
    data = None if method == "GET" else json.dumps(body or {}).encode()
    request = urllib.request.Request(f"{api}/{path}", data=data, headers={"Content-Type": "application/json"}, method=method)
    with urllib.request.urlopen(request, timeout=20) as answer:
        return json.load(answer)


def until(found: Any, what: str) -> Any:
    """Wait for something true."""
    ends = clock.stopwatch() + PATIENCE_S
    while clock.stopwatch() < ends:
        try:
            if value := found():
                return value
        except OSError:
            pass
        clock.wait(0.5)
    raise AssertionError(f"not within {PATIENCE_S:g} s: {what}")


def runs_of(api: str, deployment: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = ask(api, "flow_runs/filter", {"deployments": {"name": {"any_": [deployment]}}})
    return found


def surroundings(home: Home, folder: Path, **more: str) -> dict[str, str]:
    return {**os.environ, "PREFECT_HOME": str(folder / "client"), "PYTHONPATH": str(ROOT), "FLOCLEDGER_HOME": str(home.root), **more}


def test_a_worker_in_another_folder_runs_what_prefect_yaml_deploys(tmp_path: Path) -> None:
    home, elsewhere = home_of(tmp_path / "home", 0), tmp_path / "elsewhere"
    elsewhere.mkdir()
    home.plant_file("x").parent.mkdir(parents=True)
    for path in (ROOT / "sample_data" / "plants").glob("*.toml"):
        shutil.copy(path, home.plant_file(path.stem))
    with local_server(tmp_path / "prefect", free_port()) as api, web_hook() as (url, posted):
        env = surroundings(home, tmp_path, PREFECT_API_URL=api, FLOCLEDGER_ALERT_URL=f"{url}/")

        def prefect(*words: str, cwd: Path = ROOT) -> None:
            command = [sys.executable, "-m", "prefect", "--no-prompt", *words]
            done = subprocess.run(command, env=env, cwd=cwd, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
            assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]

        prefect("work-pool", "create", "plants", "--type", "process")
        prefect("deploy", "--all")
        deployed = {(d["entrypoint"], d["name"]) for d in ask(api, "deployments/filter")}
        assert len(deployed) == 6
        prefect("deployment", "run", "nightly/brenholm")
        worker = [sys.executable, "-m", "prefect", "worker", "start", "--pool", "plants", "--limit", "2"]
        with subprocess.Popen(worker, env=env, cwd=elsewhere, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            try:
                (run,) = until(
                    lambda: [
                        r for r in runs_of(api, "brenholm") if r["state_type"] in ("COMPLETED", "FAILED", "CRASHED") and r["start_time"]
                    ],
                    "the run",
                )
            finally:
                process.send_signal(signal.SIGINT)
                process.wait(60)
        # a plant without any data is a failed run, named, tagged, with a table and an alert
        local = datetime.fromisoformat(run["expected_start_time"]).astimezone(ZoneInfo("Europe/Copenhagen"))
        assert (run["state_name"], run["name"]) == ("DataMissing", f"nightly-brenholm-{local:%Y-%m-%d}")
        assert set(run["tags"]) >= {"brenholm", "nightly"}
        assert run["run_count"] == 1
        keys = {one["key"] for one in ask(api, "artifacts/filter")}
        assert "nightly-brenholm" in keys
        assert [(one["plant"], one["state"]) for one in posted] == [("brenholm", "DataMissing")]


def test_a_killed_serve_leaves_nothing_hanging_and_missed_runs_are_made_up_once(tmp_path: Path) -> None:
    home, port = home_of(tmp_path / "home", 1), free_port()
    api, env = f"http://127.0.0.1:{port}/api", surroundings(home, tmp_path)
    env.pop("PREFECT_HOME")
    command = [sys.executable, "-m", "pipelines", "serve", "--port", str(port), "--start-seconds", "200"]
    log = (tmp_path / "serve.log").open("wb")

    def deployments() -> dict[str, str]:
        return {d["entrypoint"].split(".")[2] + "/" + d["name"]: d["id"] for d in ask(api, "deployments/filter") if not d["paused"]}

    expected = {f"{flow}/plant-00" for flow in ("nightly", "weekly", "rebuild", "backfill")} | {"health/home", "plants/home"}
    with subprocess.Popen(command, env=env, cwd=tmp_path, stdout=log, stderr=log) as first:
        ids = until(lambda: (found := deployments()).keys() >= expected and found, "the deployments")
        form = ask(api, f"deployments/{ids['backfill/plant-00']}", method="GET")["parameter_openapi_schema"]["properties"]
        assert {"plant", "first_day", "last_day"} <= set(form)
        assert ask(api, f"deployments/{ids['nightly/plant-00']}", method="GET")["global_concurrency_limit"]["limit"] == 1
        ask(api, f"deployments/{ids['health/home']}/create_flow_run", {"state": {"type": "SCHEDULED"}})
        until(home.health.exists, "the health file")
        second = subprocess.run(command, env=env, cwd=tmp_path, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
        assert (second.returncode, f"process {first.pid}" in second.stderr) == (3, True)
        assert deployments().keys() >= expected  # the first one's schedules go on
        # a run that is running when everything is killed, and runs that were due meanwhile
        hanging = ask(api, f"deployments/{ids['rebuild/plant-00']}/create_flow_run", {"state": {"type": "PENDING"}})["id"]
        ask(api, f"flow_runs/{hanging}/set_state", {"state": {"type": "RUNNING"}, "force": True})
        first.kill()
    now = datetime.now(UTC)
    with local_server(home.root / "prefect", port, start_s=200):
        for days in (3, 2, 1):
            due = {"type": "SCHEDULED", "state_details": {"scheduled_time": (now - timedelta(days=days)).isoformat()}}
            ask(api, f"deployments/{ids['nightly/plant-00']}/create_flow_run", {"state": due})
    started = clock.stopwatch()
    with subprocess.Popen(command, env=env, cwd=tmp_path, stdout=log, stderr=log) as again:
        try:
            state = until(
                lambda: (run := ask(api, f"flow_runs/{hanging}", method="GET"))["state_type"] != "RUNNING" and run, "the cleared run"
            )
            cleared_s = clock.stopwatch() - started
            assert state["state_type"] == "CRASHED"

            def made_up() -> Any:
                nights = [
                    r for r in runs_of(api, "plant-00") if r["name"].startswith("nightly") and r["expected_start_time"] < now.isoformat()
                ]
                return nights if sum(r["start_time"] is not None and r["end_time"] is not None for r in nights) >= 1 else None

            nights = until(made_up, "the missed night")
            assert sorted(r["state_type"] for r in nights).count("CANCELLED") == 2
        finally:
            again.send_signal(signal.SIGINT)
            again.wait(60)
    log.close()
    print(f"the hanging run was cleared {cleared_s:.0f} s after the start")
    until(
        lambda: subprocess.run(["pgrep", "-f", f"--port {port}"], capture_output=True, check=False).returncode == 1,
        "no process left behind",
    )
