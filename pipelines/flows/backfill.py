"""The backfill flow of one plant: a range of operating days computed again; never scheduled, started by hand."""

from __future__ import annotations

from datetime import date
from typing import Any

from prefect import flow

from pipelines import order
from pipelines.flows.runs import OPTIONS, TIMEOUT_S, plant_run, run_name


@flow(name="backfill", flow_run_name=run_name, timeout_seconds=4 * TIMEOUT_S, **OPTIONS)
def backfill(plant: str, first_day: date | None = None, last_day: date | None = None) -> Any:
    """Compute a range of operating days again (default: those whose late data wait) and publish once; the state says how it ended."""
    return plant_run("backfill", plant, lambda home, call: order.backfill(home, plant, first_day, last_day, call=call))
