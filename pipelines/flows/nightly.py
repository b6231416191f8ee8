"""The nightly flow of one plant."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from prefect import flow

from pipelines import order
from pipelines.flows.runs import OPTIONS, TIMEOUT_S, plant_run, run_name

SETTLE_S = 60.0  # nobody waits for a scheduled run: files younger than this stay for the next one


@flow(name="nightly", flow_run_name=run_name, timeout_seconds=TIMEOUT_S, **OPTIONS)
def nightly(plant: str, as_of: datetime | None = None) -> Any:
    """Take in what waits, bring every table up to date, publish; the state says how it ended."""
    return plant_run("nightly", plant, lambda home, call: order.nightly(home, plant, as_of, call=call, settle_s=SETTLE_S))
