"""The nights of many plants at one time: in processes of this command, or as a flow on a Prefect task runner."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import partial
from importlib import import_module
from pathlib import Path

import click

from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.cli.app import say
from pipelines.cli.outcomes import Outcome, Stopped, outcome

_PORT = 4200


def night(root: Path, plant: str, as_of: datetime | None, settle_s: float) -> Outcome:
    """Run the night of one plant; what stopped it is part of the outcome."""
    from pipelines import order

    home = Home(root)
    return outcome(home, plant, partial(order.nightly, home, plant, as_of, settle_s=settle_s))


def nights(home: Home, plants: Sequence[str], as_of: datetime | None, *, settle_s: float, at_once: int) -> Iterator[tuple[str, Outcome]]:
    """Run the nights of plants in `at_once` processes; yields them as they end. A process that dies stops its plant alone."""
    from concurrent.futures import ProcessPoolExecutor, as_completed
    from multiprocessing import get_context

    with ProcessPoolExecutor(min(at_once, len(plants)), mp_context=get_context("spawn")) as pool:
        running = {pool.submit(night, home.root, plant, as_of, settle_s): plant for plant in plants}
        for done in as_completed(running):
            error = done.exception()
            lost = f"error: its process was lost ({error}); the next run continues"
            yield running[done], done.result() if error is None else Stopped(int(ExitCode.INTERNAL), str(error), lost)


def on_runner(home: Home, plants: Sequence[str], as_of: datetime | None, *, runner: str, at_once: int | None, as_json: bool) -> int:
    """Run the nights as one flow on a task runner; print a line a plant, or JSON; return the worst exit code."""
    from pipelines.flows import serving

    os.environ |= {"FLOCLEDGER_HOME": str(home.root), "FLOCLEDGER_TASK_RUNNER": runner}
    if at_once is not None:
        os.environ["FLOCLEDGER_WORKERS"] = str(at_once)
    with serving.server_of(home, _PORT) as url:
        os.environ["PREFECT_API_URL"] = url
        found = import_module("pipelines.flows.plants").run_all(list(plants), as_of)
    worst = max((int(one["exit code"]) for one in found), default=int(ExitCode.OK))
    if as_json:
        click.echo(json.dumps({"runs": found, "exit_code": worst}, indent=1))
    else:
        say("\n".join(f"{one['plant']}: exit code {one['exit code']}, {one['detail']}" for one in found))
    return worst
