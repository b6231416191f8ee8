"""What the flows share: the home they may work in, steps as tasks, the artifact of a run, and the state a run ends in.

The store stays inside one process: a DuckDB connection cannot cross processes, and the lock of its file is what keeps two runs of
a plant apart. Only a plant id and dates come in: the home is that of the process that serves (FLOCLEDGER_HOME), so that whoever
reaches the Prefect interface can start runs of the plants of that home and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, tzinfo
from typing import Any

from prefect import get_run_logger, runtime, task
from prefect.artifacts import create_link_artifact, create_table_artifact
from prefect.cache_policies import NO_CACHE
from prefect.client.schemas.objects import State
from prefect.states import Completed, Failed

from pipelines.base import clock, sanitise
from pipelines.base.errors import ExitCode, FlocledgerError, UsageError, exit_code_of
from pipelines.base.home import Home
from pipelines.flows import alerts
from pipelines.plant import loader
from pipelines.runs import summary_text
from pipelines.runs.summary import Summary

DATA_MISSING, WARNINGS = "DataMissing", "Warnings"  # names of states beside Prefect's own
TIMEOUT_S = 6 * 3600.0  # a run that takes longer hangs; the next one takes up where it stopped
ALERTS: list[Any] = [alerts.of_run]  # hooks for runs that failed (data missing included) or whose process died
# Of every flow that works on plants, beside its name and its time limit: runs are not retried, since the next one takes up where one stopped.
OPTIONS: dict[str, Any] = {"retries": 0, "persist_result": False, "on_failure": ALERTS, "on_crashed": ALERTS}
_MANY = {"check_in"}  # called once a file: one task each would flood the run


def home_of(plant: str) -> Home:
    """Return the home of this process; UsageError when the plant is none of it."""
    home = Home.resolve()
    if plant not in home.plants():
        raise UsageError(
            f"there is no plant {plant!r} in the home that is served", remedy=f"plants here: {', '.join(home.plants()) or 'none'}"
        )
    return home


def run_name() -> str:
    """Return the name of a flow run: flow, plant, and the plant-local day it was scheduled for."""
    plant, at = str(runtime.flow_run.parameters.get("plant")), runtime.flow_run.scheduled_start_time
    return f"{runtime.flow_run.flow_name}-{plant}-{at.astimezone(_zone(plant)):%Y-%m-%d}"


def _zone(plant: str) -> tzinfo:
    """Return a plant's time zone; UTC when its plant file cannot say."""
    try:
        return loader.of_plant(home_of(plant), plant).calendar.zone
    except FlocledgerError:
        return UTC


def as_task(step: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    """Call one step of `order` as a task of its own name, and log how long it took. Its arguments stay out of Prefect."""
    if step.__name__ in _MANY:
        return step(*args, **kwargs)
    room = (step.__module__ or "").split(".")[1]
    name = step.__name__ if step.__name__ != "run" else room

    @task(name=name, task_run_name=name, retries=0, cache_policy=NO_CACHE, persist_result=False)
    def one_step() -> None:
        started = clock.stopwatch()
        result.append(step(*args, **kwargs))
        get_run_logger().info("%s.%s: %.1f s", step.__module__, step.__name__, clock.stopwatch() - started)

    result: list[Any] = []
    one_step()
    return result[0]


def plant_run(kind: str, plant: str, work: Callable[[Home, Any], Summary]) -> State[int]:
    """Run `work(home, call)` for one plant, keep a table of what it did as artifact, and return the state the run ends in.

    Also a run that fails leaves its artifact. The error goes on.
    """
    try:
        summary = work(home_of(plant), as_task)
    except Exception as error:
        row = {"what": "error", "name": type(error).__name__, "detail": sanitise.lines(str(error)), "exit code": int(exit_code_of(error))}
        create_table_artifact(key=f"{kind}-{_key(plant)}", table=[row], description=f"{kind} of {sanitise.name(plant)} failed")
        if exit_code_of(error) == ExitCode.DATA_MISSING:
            return Failed(name=DATA_MISSING, message=sanitise.lines(str(error)))
        raise
    text = "\n".join(summary_text.lines(summary))
    create_table_artifact(key=f"{kind}-{_key(plant)}", table=table_of(summary), description=f"```\n{text}\n```")
    for path in summary.outputs:
        create_link_artifact(link=f"file://{path}", key=f"page-{_key(plant)}", description=f"{kind} of {plant}")
    get_run_logger().info(text)
    return state_of(summary)


def state_of(summary: Summary) -> State[int]:
    """Return Completed for exit code 0 only: Warnings after warnings, and a failed state DataMissing when a line has no data."""
    code = int(summary.exit_code)
    if summary.no_data is not None:
        return Failed(name=DATA_MISSING, message=sanitise.lines(summary.no_data))
    if code:
        return Completed(name=WARNINGS, message=f"exit code {code}: {len(summary.notices)} notices", data=code)
    return Completed(data=code)


def table_of(summary: Summary) -> list[dict[str, Any]]:
    """Return a row for each receipt, step and notice of a run."""
    rows: list[dict[str, Any]] = [
        {
            "what": "receipt", "name": sanitise.name(r.file_name), "detail": r.reason or r.status, "read": r.rows_read, "kept": r.rows_kept,
            "duplicate": r.rows_duplicate, "dropped": r.rows_dropped, "set aside": r.rows_set_aside,
        }
        for r in summary.receipts
    ]  # fmt: skip
    rows += [{"what": "step", "name": s.step, "detail": f"{s.days} operating days, {s.seconds:.1f} s"} for s in summary.steps]
    rows += [{"what": "notice", "name": n.name, "detail": sanitise.lines(n.sentence)} for n in summary.notices]
    return [*rows, {"what": "exit code", "name": str(int(summary.exit_code)), "detail": f"{summary.seconds:.1f} s"}]


def _key(plant: str) -> str:
    """Return a plant id as keys of artifacts may have it: lower-case letters, digits and dashes."""
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in plant.lower())
