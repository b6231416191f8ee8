"""What a process that died left in the history of its own server: runs that hang, and schedules that were missed."""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Sequence

from prefect.client.orchestration import SyncPrefectClient, get_client
from prefect.client.schemas.filters import DeploymentFilter, DeploymentFilterName, FlowRunFilter, FlowRunFilterState, FlowRunFilterStateType
from prefect.client.schemas.objects import FlowRun, StateType
from prefect.states import Cancelled, Crashed

from pipelines.base import clock

_MOST = 200  # runs asked for at a time
_log = logging.getLogger("prefect.flocledger")


def clear(plants: Sequence[str]) -> dict[str, int]:
    """End runs that hang, and leave one of several missed runs of a deployment; returns how many of each.

    Only one process serves a home, so a run that its server calls running has nobody who runs it.
    """
    with get_client(sync_client=True) as client:
        hanging = _found(client, plants, [StateType.RUNNING, StateType.PENDING, StateType.CANCELLING])
        for run in hanging:
            client.set_flow_run_state(run.id, Crashed(message="the process that ran it ended; the next run continues"), force=True)
        missed = superfluous(_found(client, plants, [StateType.SCHEDULED]))
        for run in missed:
            client.set_flow_run_state(run.id, Cancelled(message="missed while nothing served; a later one runs in its place"), force=True)
    counts = {"hanging": len(hanging), "missed": len(missed)}
    if any(counts.values()):
        _log.warning("cleared %d hanging and %d missed runs of an earlier process", *counts.values())
    return counts


def superfluous(scheduled: Sequence[FlowRun]) -> list[FlowRun]:
    """Return the runs that should have begun by now, but the last one of each deployment."""
    due, now = defaultdict(list), clock.now_utc()
    for run in scheduled:
        if run.expected_start_time is not None and run.expected_start_time <= now:
            due[run.deployment_id].append(run)
    return [run for runs in due.values() for run in sorted(runs, key=lambda r: str(r.expected_start_time))[:-1]]


def _found(client: SyncPrefectClient, plants: Sequence[str], types: list[StateType]) -> list[FlowRun]:
    found: list[FlowRun] = []
    while True:
        some = client.read_flow_runs(
            flow_run_filter=FlowRunFilter(state=FlowRunFilterState(type=FlowRunFilterStateType(any_=types))),
            deployment_filter=DeploymentFilter(name=DeploymentFilterName(any_=sorted(set(plants)))),
            limit=_MOST,
            offset=len(found),
        )
        found += some
        if len(some) < _MOST:
            return found
