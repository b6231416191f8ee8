"""Deployments as data: which flow runs when, in plant time, with what. Imports no prefect.

`serve` and `prefect.yaml` both follow this list; a test compares them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from pipelines.plant.model import PlantFile

AFTER_DAY_END = timedelta(hours=1)  # exports of a day come within the hour after it; common practice, no source
WEEKLY_AFTER_NIGHTLY = timedelta(hours=1)  # where the nightly run has not ended by then, the weekly run sees to it
# Somewhere on earth clocks change between 21:00 and 04:00; a schedule in that span is skipped, doubled or shifted on two days a year.
EARLIEST = time(5, 0)
LATEST = time(19, 30)  # so that weekly, an hour later, is before that span too
HOME = "home"  # name of deployments that are of no single plant
CONCURRENCY = 1  # runs of one deployment at a time; two flows of one plant meet at the lock of its store


@dataclass(frozen=True)
class Deployment:
    """One scheduled flow of one plant; `cron` is in `time_zone`."""

    flow: str
    name: str
    cron: str
    time_zone: str
    parameters: dict[str, str | None] = field(default_factory=dict)

    @property
    def tags(self) -> list[str]:
        """Return the tags of its runs: the plant and the kind of run."""
        return [self.name, self.flow]

    @property
    def is_scheduled(self) -> bool:
        return bool(self.cron)

    @property
    def entrypoint(self) -> str:
        """Return the module path of the flow: a worker finds it in the installed package, from any folder."""
        return f"pipelines.flows.{self.flow}.{self.flow}"


def of_plant(plant_file: PlantFile) -> list[Deployment]:
    """Return the scheduled deployments of a plant, nightly and weekly. The home is that of the process that runs them."""
    plant = plant_file.plant
    night = nightly_time(plant.operating_day_start)
    page = _later(night, WEEKLY_AFTER_NIGHTLY)
    given = {"plant": plant.id}
    return [
        Deployment("nightly", plant.id, f"{night.minute} {night.hour} * * *", plant.time_zone, dict(given)),
        Deployment("weekly", plant.id, f"{page.minute} {page.hour} * * {plant.week_start_number % 7}", plant.time_zone, dict(given)),
    ]


def by_hand(plant_file: PlantFile) -> list[Deployment]:
    """Return the deployments of a plant that are started by hand, with their parameters in the form."""
    plant = plant_file.plant
    return [Deployment(flow, plant.id, "", plant.time_zone, {"plant": plant.id}) for flow in ("rebuild", "backfill")]


def of_home() -> list[Deployment]:
    """Return the deployments of a home as a whole: its health, every hour, and the nights of all plants side by side, by hand."""
    return [Deployment("health", HOME, "30 * * * *", "UTC"), Deployment("plants", HOME, "", "UTC")]


def nightly_due(plant_file: PlantFile, now: datetime) -> datetime:
    """Return when the last nightly run of a plant was due, at or before `now` (UTC)."""
    zone = ZoneInfo(plant_file.plant.time_zone)
    at, local = nightly_time(plant_file.plant.operating_day_start), now.astimezone(zone)
    today = datetime.combine(local.date(), at, tzinfo=zone)
    due = today if today <= local else datetime.combine(local.date() - timedelta(days=1), at, tzinfo=zone)
    return due.astimezone(UTC)


def nightly_time(operating_day_start: time) -> time:
    """Return the plant-local time of the nightly run: an hour after the operating day ends, never while clocks change."""
    after = _later(operating_day_start, AFTER_DAY_END)
    return after if EARLIEST <= after <= LATEST else EARLIEST


def _later(at: time, by: timedelta) -> time:
    return (datetime.combine(date.min, at) + by).time()
