"""The weekly flow of one plant: after the plant's nightly run of the day, whenever that is."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from prefect import flow, get_run_logger

from pipelines import order
from pipelines.base import clock
from pipelines.base.errors import LockedError
from pipelines.base.home import Home
from pipelines.flows import deployments
from pipelines.flows.nightly import SETTLE_S
from pipelines.flows.runs import OPTIONS, TIMEOUT_S, plant_run, run_name
from pipelines.flows.secrets import smtp_password
from pipelines.plant import loader
from pipelines.runs import records
from pipelines.runs.summary import Summary

ASK_AGAIN_S = 10.0


@flow(name="weekly", flow_run_name=run_name, timeout_seconds=TIMEOUT_S, **OPTIONS)
def weekly(plant: str, week_start_day: date | None = None) -> Any:
    """Write the weekly page from the published file; the state says how it ended."""

    def work(home: Home, call: Any) -> Summary:
        if week_start_day is None:
            after_nightly(home, plant, call)
        return order.weekly(home, plant, week_start_day, call=call, mail_secret=smtp_password)

    return plant_run("weekly", plant, work)


def after_nightly(home: Home, plant: str, call: Any) -> None:
    """Return when the nightly run that is due today has ended; run it here when it has not begun, wait when it is running.

    Where many plants share few places, a weekly run that only waited would hold a place its own nightly run needs.
    """
    due = deployments.nightly_due(loader.of_plant(home, plant), clock.now_utc())
    while not has_run_since(home, plant, due):
        try:
            get_run_logger().info("the nightly run due at %s has not ended; it is run first", due)
            order.nightly(home, plant, call=call, settle_s=SETTLE_S)
        except LockedError:
            clock.wait(ASK_AGAIN_S)


def has_run_since(home: Home, plant: str, due: datetime) -> bool:
    """Return whether a nightly run of the plant has ended that began at or after a time (UTC)."""
    found, _ = records.read(home.runs(plant))
    return any(r.get("run") == "nightly" and datetime.fromisoformat(str(r["as_of"])).astimezone(UTC) >= due for r in found)
