"""The nightly flow of one plant."""

from __future__ import annotations

from datetime import datetime

from prefect import flow

from pipelines import order
from pipelines.base.home import Home
from pipelines.flows.runs import plant_run


@flow(name="nightly", flow_run_name="nightly-{plant}", retries=0, persist_result=False)
def nightly(plant: str, home: str | None = None, as_of: datetime | None = None) -> int:
    """Load waiting files, update every table and publish; return the exit code."""
    return plant_run("nightly", plant, lambda call: order.nightly(Home.resolve(home), plant, as_of, call=call))
