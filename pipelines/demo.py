"""The demonstration: three invented plants, delivered file by file as they would have come.

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

from pipelines import clock, order, plantfile
from pipelines.errors import UsageError
from pipelines.home import Home
from pipelines.plantfile import PlantFile

MARKER = "demo.json"  # says that a home was made by the demonstration and may be made anew
NIGHTS = 14  # the last days come one by one, as nightly runs
WEEKLIES = 2  # pages of the last whole weeks
MORNING = time(7, 30)  # plant-local time of the nightly run; the demonstration's operating days end at 06:00 or 00:00
_MADE = ("plants", "inbox", "archive", "store", "published", "runs", "scratch")  # all that a home holds

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


def run(home: Home, *, weeks: int = 16, seed: int = 1, nights: int = NIGHTS, tell: Tell = lambda *_: None) -> Made:
    """Make a demonstration home: generate, take in the bulk, then night by night, then the weekly pages.

    UsageError when `home` holds anything that is not a demonstration, or `weeks` is too few.
    """
    if weeks * 7 <= nights:
        raise UsageError(f"{weeks} weeks leave nothing before the last {nights} nights", remedy="give more weeks or fewer nights")
    started = clock.stopwatch()
    prepare(home, weeks, seed)
    scratch = home.root / "scratch"
    tell("inventing three plants", 0, 1)
    start = generate(scratch, weeks, seed)
    plant_files = place(home, scratch)
    end = start + timedelta(days=7 * weeks)
    waiting = deliveries(scratch)
    files = 0
    for index, plant_file in enumerate(plant_files):
        tell(f"taking in the first {weeks * 7 - nights} days of {plant_file.plant.id}", index, len(plant_files))
        files += backfill(home, plant_file, waiting, morning(plant_file, end - timedelta(days=nights)))
    mornings = [end - timedelta(days=nights - 1 - n) for n in range(nights)]
    for index, day in enumerate(mornings):
        tell(f"nightly runs of the morning of {day}", index, nights)
        for plant_file in plant_files:
            files += nightly(home, plant_file, waiting, morning(plant_file, day))
    pages = []
    for index, plant_file in enumerate(plant_files):
        tell(f"weekly pages of {plant_file.plant.id}", index, len(plant_files))
        pages += weeklies(home, plant_file, end)
    shutil.rmtree(scratch)
    runs = len(plant_files) * (1 + nights + WEEKLIES)
    return Made(home, tuple(p.plant.id for p in plant_files), files, runs, tuple(pages), clock.stopwatch() - started)


def prepare(home: Home, weeks: int, seed: int) -> None:
    """Make the folder, or empty the one an earlier demonstration made; UsageError when it holds anything else."""
    if home.root.exists() and any(home.root.iterdir()) and not (home.root / MARKER).is_file():
        raise UsageError(f"{home.root} is not empty and not a demonstration", remedy="choose another folder with --home")
    for name in _MADE:
        shutil.rmtree(home.root / name, ignore_errors=True)
    home.root.mkdir(parents=True, exist_ok=True)
    (home.root / MARKER).write_text(json.dumps({"weeks": weeks, "seed": seed, "invented": True}) + "\n", encoding="utf-8")


def generate(scratch: Path, weeks: int, seed: int) -> date:
    """Invent the plants' files below `scratch`; return the first day."""
    from sample_data import generate as generator

    generator.generate(scratch, weeks=weeks, seed=seed)
    return generator.START


def place(home: Home, scratch: Path) -> list[PlantFile]:
    """Put the plant files into the home and read them, sorted by id."""
    found = []
    for made in sorted(scratch.glob("*/plant.toml")):
        target = home.plant_file(made.parent.name)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(made, target)
        home.inbox(made.parent.name).mkdir(parents=True, exist_ok=True)
        found.append(plantfile.load(target))
    return found


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
    return datetime.combine(day, MORNING, tzinfo=plant_file.zone).astimezone(UTC)


def arrive(home: Home, plant: str, waiting: list[Delivery], until: datetime) -> int:
    """Move what a plant delivers until an instant from `waiting` into its inbox, with the time of arrival as file time."""
    due = [d for d in waiting if d.plant == plant and d.arrives_utc <= until]
    for delivery in due:
        target = home.inbox(plant) / delivery.path.name
        shutil.copyfile(delivery.path, target)
        stamp = delivery.arrives_utc.timestamp()
        os.utime(target, (stamp, stamp))
        waiting.remove(delivery)
    return len(due)


def backfill(home: Home, plant_file: PlantFile, waiting: list[Delivery], until: datetime) -> int:
    """Take in all that came until an instant as one run, unpublished; return the number of files."""
    files = arrive(home, plant_file.plant.id, waiting, until)
    order.nightly(home, plant_file.plant.id, until, publish_now=False)
    return files


def nightly(home: Home, plant_file: PlantFile, waiting: list[Delivery], as_of: datetime) -> int:
    """Run one night of one plant; return the number of files."""
    files = arrive(home, plant_file.plant.id, waiting, as_of)
    order.nightly(home, plant_file.plant.id, as_of)
    return files


def weeklies(home: Home, plant_file: PlantFile, end: date) -> list[Path]:
    """Write the pages of the last whole reporting weeks before `end`; return their paths, oldest first."""
    last = end - timedelta(days=7 + (end.isoweekday() - plant_file.plant.week_start_number) % 7)
    starts = [last - timedelta(days=7 * n) for n in reversed(range(WEEKLIES))]
    return [
        Path(path) for start in starts for path in order.weekly(home, plant_file.plant.id, start, as_of=morning(plant_file, end)).outputs
    ]
