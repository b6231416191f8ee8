"""The nightly runs of many plants side by side: one task a plant, on the task runner that the configuration names.

`FLOCLEDGER_TASK_RUNNER` is `threads` (default), `processes`, `dask` (worker processes of this machine) or `dask:<address>` of a
scheduler whose workers see the home under the same path; `FLOCLEDGER_WORKERS` is how many at once (default: one a core).
A plant is the unit of work: its store is one file with a lock, and only ids, paths and exit codes go between processes.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from prefect import flow, get_run_logger, task
from prefect.artifacts import Artifact, create_table_artifact
from prefect.cache_policies import NO_CACHE
from prefect.client.schemas.objects import State
from prefect.logging.handlers import APILogHandler
from prefect.states import Completed, Failed
from prefect.task_runners import ProcessPoolTaskRunner, TaskRunner, ThreadPoolTaskRunner

from pipelines import order
from pipelines.base import sanitise
from pipelines.base.errors import ExitCode, UsageError, exit_code_of
from pipelines.base.home import Home
from pipelines.flows.nightly import SETTLE_S
from pipelines.flows.runs import OPTIONS, TIMEOUT_S, WARNINGS

TABLE = "plants"  # key of the artifact


def runner_of(settings: Mapping[str, str]) -> TaskRunner[Any]:
    """Return the task runner that the settings name; UsageError for an unknown one, or Dask without its package."""
    kind, _, address = settings.get("FLOCLEDGER_TASK_RUNNER", "threads").partition(":")
    workers = int(settings.get("FLOCLEDGER_WORKERS", 0)) or os.cpu_count() or 1
    if kind == "threads":
        return ThreadPoolTaskRunner(max_workers=workers)
    if kind == "processes":
        return ProcessPoolTaskRunner(max_workers=workers)
    if kind != "dask":
        raise UsageError(
            f"there is no task runner {kind!r}", remedy="set FLOCLEDGER_TASK_RUNNER to threads, processes, dask or dask:<address>"
        )
    try:
        from prefect_dask.task_runners import DaskTaskRunner
    except ImportError:
        raise UsageError("the task runner dask needs prefect-dask", remedy="install flocledger[dask]") from None
    local = {"n_workers": workers, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
    runner: TaskRunner[Any] = DaskTaskRunner(address=address) if address else DaskTaskRunner(cluster_kwargs=local)
    return runner


@task(name="plant night", task_run_name="night-{plant}", retries=0, cache_policy=NO_CACHE, persist_result=False)
def plant_night(plant: str, root: str, as_of: datetime | None) -> dict[str, Any]:
    """Run the night of one plant; return its id, exit code and what stopped it. One plant's failure is none of the others'."""
    try:
        summary = order.nightly(Home(Path(root)), plant, as_of, settle_s=SETTLE_S)
    except Exception as error:
        return {"plant": plant, "exit code": int(exit_code_of(error)), "detail": sanitise.lines(str(error))}
    return {"plant": plant, "exit code": int(summary.exit_code), "detail": f"{len(summary.receipts)} files, {summary.seconds:.1f} s"}


class ConfiguredRunner(ThreadPoolTaskRunner[Any]):
    """Stands for the task runner that the environment names when a run begins."""

    def duplicate(self) -> Any:
        """Return the task runner that the environment names now."""
        return runner_of(os.environ)


_CONFIGURED: Any = ConfiguredRunner()


@flow(name="plants", flow_run_name="plants", task_runner=_CONFIGURED, timeout_seconds=TIMEOUT_S, **OPTIONS)
def plants(names: list[str] | None = None, as_of: datetime | None = None) -> Any:
    """Run the nights of some plants (default: all of the home) side by side; the state says how the worst one ended."""
    home = Home.resolve()
    chosen = home.plants() if names is None else names
    futures = [plant_night.submit(name, str(home.root), as_of) for name in chosen]
    found = [_outcome(name, future) for name, future in zip(chosen, futures, strict=True)]
    create_table_artifact(key=TABLE, table=found, description=f"nightly runs of {len(found)} plants")
    for one in found:
        get_run_logger().info("%s: exit code %s, %s", one["plant"], one["exit code"], one["detail"])
    return state_of(found)


def run_all(names: list[str], as_of: datetime | None) -> list[dict[str, Any]]:
    """Run the flow here, on the server of PREFECT_API_URL; return its table, a row a plant. UsageError for an unknown task runner."""
    runner_of(os.environ)
    plants(names, as_of, return_state=True)
    APILogHandler().flush()  # the server may end before the last lines have reached it
    artifact: Any = Artifact.get(TABLE)
    found: list[dict[str, Any]] = json.loads(artifact.data)
    return found


def _outcome(name: str, future: Any) -> dict[str, Any]:
    """Return what a task said; of one that was lost with its worker, that the next run continues."""
    try:
        result = future.result(raise_on_failure=False)
    except Exception as error:  # the engine's own words for a worker that died
        result = error
    if isinstance(result, dict):
        return result
    detail = f"its worker was lost: {sanitise.name(str(result))}; the next run continues"
    return {"plant": name, "exit code": int(ExitCode.INTERNAL), "detail": detail}


def state_of(found: list[dict[str, Any]]) -> State[int]:
    """Return Completed when every plant ended with 0, Warnings when none is worse than 1, else a failed state naming the plants."""
    worst = max((one["exit code"] for one in found), default=0)
    failed = [one["plant"] for one in found if one["exit code"] > ExitCode.WARNINGS]
    if failed:
        return Failed(message=f"failed: {', '.join(failed)}")
    return Completed(name=WARNINGS, data=worst) if worst else Completed(data=worst)
