"""The demonstration: three invented plants, delivered file by file as in operation.

Sits beside `order`: it makes a home, fills the inboxes in order of arrival, and calls the ordinary runs.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from pipelines import order
from pipelines.base import clock
from pipelines.base.errors import UsageError
from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.plant.model import PlantFile

MARKER = "demo.json"  # marks a home made by the demonstration, which may be replaced
WEEKS, NIGHTS = 12, 3  # weeks of data; the last nights come one by one, as nightly runs. About a minute on two cores
FULL_WEEKS, FULL_NIGHTS = 16, 14  # the long demonstration
WEEKLIES = 2  # pages of the last whole weeks
FROZEN_UTC = datetime(2026, 1, 2, 9, tzinfo=UTC)  # the plans of comparisons were frozen before the data begin
MORNING = time(7, 30)  # plant-local time of the nightly run; the demonstration's operating days end at 06:00 or 00:00
_MADE = ("plants", "plans", "inbox", "archive", "store", "published", "runs", "scratch")  # all that a home holds

Tell = Callable[[str, int, int], None]  # what is going on, pieces done, pieces in all


@dataclass(frozen=True)
class Delivery:
    """One export or lab sheet and when it arrives."""

    plant: str
    path: Path
    arrives_utc: datetime


@dataclass(frozen=True)
class Made:
    """What the demonstration made."""

    home: Home
    plants: tuple[str, ...]
    files: int
    runs: int
    pages: tuple[Path, ...]
    seconds: float
    as_of: datetime  # UTC instant of the last nightly run: `status` judges the demonstration from here


def run(home: Home, *, weeks: int = WEEKS, seed: int = 1, nights: int = NIGHTS, tell: Tell = lambda *_: None) -> Made:
    """Make a demonstration home: generate files, load the bulk, then night by night, then write the weekly pages.

    UsageError when `home` holds anything that is not a demonstration, or `weeks` is too few.
    """
    if weeks * 7 <= nights:
        raise UsageError(f"{weeks} weeks leave nothing before the last {nights} nights", remedy="give more weeks or fewer nights")
    started = clock.stopwatch()
    prepare(home, weeks, seed)
    scratch = home.root / "scratch"
    start = generate(scratch, weeks, seed, tell)
    plant_files = place(home, scratch)
    end = start + timedelta(days=7 * weeks)
    waiting = deliveries(scratch)
    files = 0
    for index, plant_file in enumerate(plant_files):
        tell(f"taking in the first {weeks * 7 - nights} days of {plant_file.plant.id}", index, len(plant_files))
        until = morning(plant_file, end - timedelta(days=nights))
        files += take_in(home, plant_file.plant.id, due(plant_file.plant.id, waiting, until), until, publish_now=False)
    mornings = [end - timedelta(days=nights - 1 - n) for n in range(nights)]
    for index, day in enumerate(mornings):
        tell(f"nightly runs of the morning of {day}", index, nights)
        for plant_file in plant_files:
            as_of = morning(plant_file, day)
            files += take_in(home, plant_file.plant.id, due(plant_file.plant.id, waiting, as_of), as_of, publish_now=True)
    compared(home, plant_files, end, tell)
    pages = []
    for index, plant_file in enumerate(plant_files):
        tell(f"weekly pages of {plant_file.plant.id}", index, len(plant_files))
        pages += weeklies(home, plant_file, end)
    shutil.rmtree(scratch)
    runs = sum(1 for _ in (home.root / "runs").glob("*/*.json"))
    last = max(morning(p, end) for p in plant_files)
    return Made(home, tuple(p.plant.id for p in plant_files), files, runs, tuple(pages), clock.stopwatch() - started, last)


def prepare(home: Home, weeks: int, seed: int) -> None:
    """Make the folder, or empty the one an earlier demonstration made; UsageError when it holds anything else."""
    if home.root.exists() and any(home.root.iterdir()) and not (home.root / MARKER).is_file():
        raise UsageError(f"{home.root} is not empty and not a demonstration", remedy="choose another folder with --home")
    for name in _MADE:
        shutil.rmtree(home.root / name, ignore_errors=True)
    home.root.mkdir(parents=True, exist_ok=True)
    (home.root / MARKER).write_text(json.dumps({"weeks": weeks, "seed": seed, "invented": True}) + "\n", encoding="utf-8")


def generate(scratch: Path, weeks: int, seed: int, tell: Tell) -> date:
    """Invent the plants' files below `scratch`; return the first day."""
    from sample_data import generate as generator

    generator.generate(scratch, weeks=weeks, seed=seed, progress=lambda text: tell(text, 0, 1))
    return generator.START


def place(home: Home, scratch: Path) -> list[PlantFile]:
    """Put the plant files and their plans into the home, freeze the plans, and read the plant files, sorted by id."""
    found = []
    for made in sorted(scratch.glob("*/plant.toml")):
        target = home.plant_file(made.parent.name)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(made, target)
        home.inbox(made.parent.name).mkdir(parents=True, exist_ok=True)
        found.append(loader.load(target))
        plan = home.plans / f"{plan_of(made.parent.name)}.toml"
        plan.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(made.with_name("plan.toml"), plan)
        order.freeze_plan(home, plan_of(made.parent.name), FROZEN_UTC)
    return found


def plan_of(plant: str) -> str:
    """Return the name of a plant's plan of a comparison."""
    return f"{plant}-injection"


def compared(home: Home, plant_files: list[PlantFile], end: date, tell: Tell) -> None:
    """Compute the comparisons whose last planned day lies before `end`; the others are not read before their time."""
    for index, plant_file in enumerate(plant_files):
        name = plan_of(plant_file.plant.id)
        if order.last_day_of_plan(home, name) < end:
            tell(f"savings statement of {plant_file.plant.id}", index, len(plant_files))
            order.compare(home, name, as_of=morning(plant_file, end))


def deliveries(scratch: Path) -> list[Delivery]:
    """Return all deliveries in order of arrival, then plant and name."""
    return sorted(_read(scratch), key=lambda d: (d.arrives_utc, d.plant, d.path.name))


def _read(scratch: Path) -> Iterator[Delivery]:
    for listed in sorted(scratch.glob("*/deliveries.csv")):
        with listed.open(encoding="utf-8", newline="") as lines:
            for row in csv.DictReader(lines):
                arrives = datetime.fromisoformat(row["arrives_utc"]).astimezone(UTC)
                yield Delivery(listed.parent.name, listed.parent / "exports" / row["file"], arrives)


def morning(plant_file: PlantFile, day: date) -> datetime:
    """Return the UTC instant of the plant's nightly run on the morning of `day`."""
    return datetime.combine(day, MORNING, tzinfo=plant_file.calendar.zone).astimezone(UTC)


def due(plant: str, waiting: list[Delivery], until: datetime) -> list[Delivery]:
    """Take what a plant delivers until an instant off the list; return it in order of arrival."""
    found = [d for d in waiting if d.plant == plant and d.arrives_utc <= until]
    waiting[:] = [d for d in waiting if d not in found]
    return found


def batches(arriving: list[Delivery]) -> list[list[Delivery]]:
    """Cut deliveries where a file name comes again: two files of one name cannot wait in one inbox. At least one batch."""
    found: list[list[Delivery]] = [[]]
    for delivery in arriving:
        if any(d.path.name == delivery.path.name for d in found[-1]):
            found.append([])
        found[-1].append(delivery)
    return found


def take_in(home: Home, plant: str, arriving: list[Delivery], as_of: datetime, *, publish_now: bool) -> int:
    """Put deliveries into the inbox with their time of arrival as file time, and run; return the number of files."""
    parts = batches(arriving)
    for index, part in enumerate(parts, 1):
        for delivery in part:
            target = home.inbox(plant) / delivery.path.name
            shutil.copyfile(delivery.path, target)
            stamp = delivery.arrives_utc.timestamp()
            os.utime(target, (stamp, stamp))
        is_last = index == len(parts)
        order.nightly(home, plant, as_of if is_last else part[-1].arrives_utc, publish_now=publish_now and is_last)
    return len(arriving)


def weeklies(home: Home, plant_file: PlantFile, end: date) -> list[Path]:
    """Write the pages of the last whole reporting weeks before `end`; return their paths, oldest first."""
    last = end - timedelta(days=7 + (end.isoweekday() - plant_file.plant.week_start_number) % 7)
    starts = [last - timedelta(days=7 * n) for n in reversed(range(WEEKLIES))]
    return [
        Path(path) for start in starts for path in order.weekly(home, plant_file.plant.id, start, as_of=morning(plant_file, end)).outputs
    ]
