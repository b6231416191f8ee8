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
from datetime import date
from pipelines.flows.backfill import backfill
from pipelines.flows.nightly import nightly
from pipelines.flows.weekly import weekly
print("nightly", nightly("brenholm", return_state=True).name)
print("weekly", weekly("brenholm", date(2026, 1, 12), return_state=True).name)
print("backfill", backfill("brenholm", date(2026, 1, 12), date(2026, 1, 13), return_state=True).name)
print("nowhere", nightly("nowhere", return_state=True).name)
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
        surroundings = {
            **os.environ, "PREFECT_API_URL": api, "PREFECT_HOME": str(tmp_path / "client"), "PYTHONPATH": str(ROOT), "FLOCLEDGER_HOME": str(demo_home),
        }  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-c", RUN], capture_output=True, text=True, env=surroundings, cwd=tmp_path, timeout=RUN_S, check=False
        )
        assert done.returncode == 0, done.stderr[-3000:]
        flow_runs, task_runs, artifacts = (ask(api, path) for path in ("flow_runs", "task_runs", "artifacts"))
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", port)) != 0  # the server ended with its block

    # the data of the demonstration ended long ago: that is no green run
    assert done.stdout.split() == ["nightly", "DataMissing", "weekly", "Completed", "backfill", "Completed", "nowhere", "Failed"]
    named = {run["name"].rpartition("-20")[0]: (run["state_type"], run["state_name"]) for run in flow_runs}
    assert named == {
        "nightly-brenholm": ("FAILED", "DataMissing"),
        "weekly-brenholm": ("COMPLETED", "Completed"),
        "backfill-brenholm": ("COMPLETED", "Completed"),
        "nightly-nowhere": ("FAILED", "Failed"),
    }
    assert {"load_inbox", "align", "compute", "watch", "publish", "report"} <= {run["name"] for run in task_runs}
    assert {(run["state_type"], run["run_count"]) for run in task_runs} == {("COMPLETED", 1)}  # no step is tried twice by itself
    tables = {one["key"]: json.loads(one["data"]) for one in artifacts if one["type"] == "table"}
    assert set(tables) == {"nightly-brenholm", "weekly-brenholm", "backfill-brenholm", "nightly-nowhere"}
    assert {"step", "notice", "exit code"} <= {row["what"] for row in tables["nightly-brenholm"]}
    assert tables["nightly-nowhere"][0]["exit code"] == 3  # a run that failed leaves its table too
    assert [one["key"] for one in artifacts if ".pdf" in str(one["data"])] == ["page-brenholm"]
