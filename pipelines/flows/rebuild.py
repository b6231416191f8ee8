"""The rebuild flow of one plant; never scheduled, started by hand."""

from __future__ import annotations

from prefect import flow

from pipelines import order
from pipelines.base.home import Home
from pipelines.flows.runs import plant_run


@flow(name="rebuild", flow_run_name="rebuild-{plant}", retries=0, persist_result=False)
def rebuild(plant: str, home: str | None = None) -> int:
    """Rebuild a plant's store from its archived files and publish; return the exit code."""
    return plant_run("rebuild", plant, lambda call: order.rebuild(Home.resolve(home), plant, call=call))
