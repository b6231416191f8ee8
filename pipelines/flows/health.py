"""The health flow of a home: writes the health file, and fails when a plant is damaged or nothing was heard of it."""

from __future__ import annotations

from typing import Any

from prefect import flow
from prefect.artifacts import create_table_artifact
from prefect.client.schemas.objects import State
from prefect.states import Completed, Failed

from pipelines import status
from pipelines.base import sanitise
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.flows import alerts
from pipelines.flows.runs import DATA_MISSING, WARNINGS

TIMEOUT_S = 1800.0


@flow(name="health", flow_run_name="health", retries=0, persist_result=False, timeout_seconds=TIMEOUT_S)
def health() -> Any:
    """Write `<home>/health.json`; the state is the worst of all plants. What is new since the last time is told as an alert."""
    home = Home.resolve()
    before = status.troubles_in(home.health)
    found = status.gather(home)
    status.write_whole(home.health, found.as_json())
    troubles = found.troubles()
    create_table_artifact(key="health", table=[{"plant": plant, "what": what} for plant, what in troubles.items()])
    new = {plant: what for plant, what in troubles.items() if plant not in before}
    if new:
        alerts.send({"flow": "health", "state": DATA_MISSING, "plant": ", ".join(new), "message": "\n".join(new.values())})
    return state_of(found.exit_code, troubles)


def state_of(code: ExitCode, troubles: dict[str, str]) -> State[int]:
    """Return Completed for 0, Warnings for 1, DataMissing for 2, Failed for worse; the message names plants and what is wrong."""
    told = sanitise.lines("; ".join(f"{plant}: {what}" for plant, what in troubles.items()))
    if code > ExitCode.DATA_MISSING:
        return Failed(message=told)
    if code == ExitCode.DATA_MISSING:
        return Failed(name=DATA_MISSING, message=told)
    return Completed(name=WARNINGS, message=told, data=int(code)) if code else Completed(data=0)
