"""The weekly flow of one plant."""

from __future__ import annotations

from datetime import date

from prefect import flow

from pipelines import order
from pipelines.base.home import Home
from pipelines.flows.runs import plant_run


@flow(name="weekly", flow_run_name="weekly-{plant}", retries=0, persist_result=False)
def weekly(plant: str, home: str | None = None, week_start_day: date | None = None) -> int:
    """Write the weekly page from the published file; return the exit code."""
    return plant_run("weekly", plant, lambda call: order.weekly(Home.resolve(home), plant, week_start_day, call=call))
