"""The rebuild flow of one plant; never scheduled, started by hand."""

from __future__ import annotations

from typing import Any

from prefect import flow

from pipelines import order
from pipelines.flows.runs import OPTIONS, TIMEOUT_S, plant_run, run_name


@flow(name="rebuild", flow_run_name=run_name, timeout_seconds=4 * TIMEOUT_S, **OPTIONS)
def rebuild(plant: str, without_missing: bool = False) -> Any:
    """Make a plant's store anew from its archived files and publish; the state says how it ended."""
    return plant_run("rebuild", plant, lambda home, call: order.rebuild(home, plant, call=call, without_missing=without_missing))
