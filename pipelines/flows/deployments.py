"""Deployments as data: which flow runs when, in plant time, with what. Imports no prefect.

`serve` and `prefect.yaml` both follow this list; a test compares them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from pipelines.plant.model import PlantFile

AFTER_DAY_END = timedelta(hours=1)  # exports of a day come within the hour after it; common practice, no source
WEEKLY_AFTER_NIGHTLY = timedelta(hours=1)  # the nightly run has published by then
# Somewhere on earth clocks change between 21:00 and 04:00; a schedule in that span is skipped, doubled or shifted on two days a year.
EARLIEST = time(5, 0)
LATEST = time(19, 30)  # so that weekly, an hour later, is before that span too
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
    def entrypoint(self) -> str:
        return f"pipelines/flows/{self.flow}.py:{self.flow}"


def of_plant(plant_file: PlantFile, home: str | None) -> list[Deployment]:
    """Return the nightly and the weekly deployment of a plant; `home` goes to the flows as it is."""
    plant = plant_file.plant
    night = nightly_time(plant.operating_day_start)
    page = _later(night, WEEKLY_AFTER_NIGHTLY)
    given = {"plant": plant.id, "home": home}
    return [
        Deployment("nightly", plant.id, f"{night.minute} {night.hour} * * *", plant.time_zone, dict(given)),
        Deployment("weekly", plant.id, f"{page.minute} {page.hour} * * {plant.week_start_number % 7}", plant.time_zone, dict(given)),
    ]


def nightly_time(operating_day_start: time) -> time:
    """Return the plant-local time of the nightly run: an hour after the operating day ends, never while clocks change."""
    after = _later(operating_day_start, AFTER_DAY_END)
    return after if EARLIEST <= after <= LATEST else EARLIEST


def _later(at: time, by: timedelta) -> time:
    return (datetime.combine(date.min, at) + by).time()
