"""Shared by the flows: one run of one plant as one Prefect task, its summary kept as an artifact.

The store stays inside the task: a DuckDB connection cannot cross processes, and the lock of its file is what keeps
two runs of a plant apart. Inputs are a plant id, paths and dates; the output is an exit code. Runs are not retried: the next
run finishes a failed one from its work lists.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from prefect import get_run_logger, task
from prefect.artifacts import create_markdown_artifact
from prefect.cache_policies import NO_CACHE

from pipelines.base import clock
from pipelines.runs import summary_text
from pipelines.runs.summary import Summary


def logged(step: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    """Call one step of `order` and log how long it took."""
    started = clock.stopwatch()
    result = step(*args, **kwargs)
    get_run_logger().info("%s.%s: %.1f s", step.__module__, step.__name__, clock.stopwatch() - started)
    return result


@task(name="plant run", task_run_name="{kind}-{plant}", retries=0, cache_policy=NO_CACHE, persist_result=False)
def plant_run(kind: str, plant: str, work: Callable[[Any], Summary]) -> int:
    """Run `work(call)` for one plant, keep its summary as a markdown artifact, return the exit code."""
    summary = work(logged)
    text = "\n".join(summary_text.lines(summary))
    create_markdown_artifact(key=f"{kind}-{plant}", markdown=f"```\n{text}\n```\n", description=f"summary of {kind} of {plant}")
    get_run_logger().info(text)
    return int(summary.exit_code)
