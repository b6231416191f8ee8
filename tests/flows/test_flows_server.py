"""Both flows through a real Prefect server on a loopback port: states, artifacts, and no second start of a task."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from pipelines.flows.serving import local_server

ROOT = Path(__file__).resolve().parents[2]
RUN_S = 90.0  # both flows with the start of Python and Prefect, on a loaded machine
pytestmark = pytest.mark.server

RUN = """
import sys
from datetime import date
from pipelines.flows.nightly import nightly
from pipelines.flows.weekly import weekly
home = sys.argv[1]
print("codes", nightly("brenholm", home), weekly("brenholm", home, date(2026, 1, 12)))
try:
    nightly("nowhere", home)
except Exception as error:
    print("failed", type(error).__name__)
"""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def ask(api: str, path: str) -> list[dict[str, Any]]:
    request = urllib.request.Request(f"{api}/{path}/filter", data=b"{}", headers={"Content-Type": "application/json"})
    with urllib.request.urlopen(request, timeout=10) as answer:
        found: list[dict[str, Any]] = json.load(answer)
    return found


def test_server_records_states_and_summaries_of_both_flows(demo_home: Path, tmp_path: Path) -> None:
    port = free_port()
    with local_server(tmp_path / "prefect", port) as api:
        surroundings = {**os.environ, "PREFECT_API_URL": api, "PREFECT_HOME": str(tmp_path / "client"), "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-c", RUN, str(demo_home)]
        done = subprocess.run(command, capture_output=True, text=True, env=surroundings, cwd=tmp_path, timeout=RUN_S, check=False)
        assert done.returncode == 0, done.stderr[-3000:]
        flow_runs, task_runs, artifacts = (ask(api, path) for path in ("flow_runs", "task_runs", "artifacts"))
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", port)) != 0  # the server ended with its block

    assert "codes 1 0" in done.stdout  # a warning: the data of the demonstration ended long ago
    assert "failed PlantFileError" in done.stdout
    assert {run["name"]: run["state_type"] for run in flow_runs} == {
        "nightly-brenholm": "COMPLETED",
        "weekly-brenholm": "COMPLETED",
        "nightly-nowhere": "FAILED",
    }
    assert {run["name"]: (run["state_type"], run["run_count"]) for run in task_runs} == {
        "nightly-brenholm": ("COMPLETED", 1),
        "weekly-brenholm": ("COMPLETED", 1),
        "nightly-nowhere": ("FAILED", 1),  # tried once: a run that failed is not tried again by itself
    }
    kept = {one["key"]: one["data"] for one in artifacts if one["type"] == "markdown"}
    assert set(kept) == {"nightly-brenholm", "weekly-brenholm"}
    assert "brenholm: nightly as of" in kept["nightly-brenholm"]
    assert "no new files" in kept["nightly-brenholm"]
    assert "note: no data after" in kept["nightly-brenholm"]
    assert ".pdf" in kept["weekly-brenholm"]
