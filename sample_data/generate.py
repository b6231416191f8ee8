"""Make the invented plants' exports, lab sheets and truth: `python -m sample_data.generate OUT [--weeks 16] [--seed 1] ...`."""

from __future__ import annotations

import argparse
import csv
import shutil
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from sample_data import axis, exports, file_faults, instruments, lab, ledgers, operators, process, pump_truth, truth
from sample_data import faults as fault_script
from sample_data.axis import Axis
from sample_data.exports import File
from sample_data.fault_script import Entry
from sample_data.faults import Fault
from sample_data.instruments import Shown
from sample_data.process import Truth
from sample_data.scenario import PLANTS, PlantScenario

START = date(2026, 1, 5)  # a Monday; the change of 3 March and both spring clock changes fall within 16 weeks
# One random stream a purpose, so that turning one thing off leaves the others as they were.
_SCHEDULE, _SLUDGE, _LINES, _INSTRUMENTS, _LOGGER, _LAB, _SHEETS, _FAULTS, _LEDGERS = range(9)


def generate(
    out: Path,
    *,
    weeks: int = 16,
    seed: int = 1,
    start: date = START,
    quiet: bool = False,
    deadband: bool = True,
    faults: bool = True,
    plants: Sequence[str] = ("alder-fork", "sorrel-draw", "brenholm"),
    progress: Callable[[str], None] | None = None,
) -> None:
    """Write `out/<plant>/`: plant.toml, plan.toml, exports/, deliveries.csv, truth/. Same arguments, same bytes.

    `start` is a Monday for schedules and trials to fall as described. Quiet: no noise, no rounding below nine digits, so
    that a right calculation reproduces the truth. The truth is always the noise-free process value.
    """
    for plant_id in plants:
        if progress:
            progress(f"making {weeks} weeks of {plant_id}")
        given = {"weeks": weeks, "seed": seed, "start": start.isoformat(), "quiet": quiet, "deadband": deadband, "faults": faults}
        made = make(PLANTS[plant_id], weeks=weeks, seed=seed, start=start, quiet=quiet, deadband=deadband, faults=faults)
        _write(out / plant_id, made, given)


@dataclass(frozen=True)
class Books:
    """Truth beside the days: what was hauled, used and delivered, and what the pumps lost by week."""

    ledger_days: list[dict[str, Any]]
    pump_weeks: list[dict[str, Any]]


@dataclass(frozen=True)
class Made:
    """A plant as simulated and written: `rows` is the truth per line and operating day."""

    plant: PlantScenario
    ax: Axis
    truths: list[Truth]
    rows: list[dict[str, Any]]
    files: list[File]
    faults: list[Fault]
    books: Books


def make(plant: PlantScenario, *, weeks: int, seed: int, start: date, quiet: bool, deadband: bool, faults: bool) -> Made:
    """Simulate a plant and return its files; nothing is written."""
    stream = _streams(plant, seed)
    ax = axis.build(plant, start, weeks, quiet)
    runs = [operators.schedule(plant, ax, k, stream(_SCHEDULE, k), quiet) for k in range(len(plant.lines))]
    script = fault_script.plan(plant, ax, runs, stream(_FAULTS), quiet) if faults else []
    feed = process.sludge(plant, ax, stream(_SLUDGE), quiet)
    truths = [
        process.simulate(plant, line, ax, runs[k], feed, fault_script.disturbance(script, line.line, ax), stream(_LINES, k), quiet)
        for k, line in enumerate(plant.lines)
    ]
    rows = {t.line: truth.days(plant, ax, t) for t in truths}
    shown = instruments.shown(plant.plant, ax, truths, stream(_INSTRUMENTS), quiet)
    script += fault_script.rollovers(plant, ax, shown) if faults else []
    for fault in script:
        fault.on_instruments(shown)
    found = lab.results(plant, ax, truths, rows, stream(_LAB), quiet)
    for fault in script:
        found = fault.on_results(found)
    files = _logged(plant, ax, shown, stream(_LOGGER), quiet=quiet, deadband=deadband)
    files = file_faults.apply(script, files, plant) + lab.sheets(plant, ax, found, stream(_SHEETS), quiet)
    books = ledgers.entries(plant, ax, truths, stream(_LEDGERS), quiet)
    files += ledgers.sheets(plant, ax, books, quiet)
    touched = fault_script.touched_days(script, plant)
    every = [
        row | {"has_planted_fault": key in touched, "has_handled_fault_only": touched.get(key, False)}
        for t in truths
        for row in rows[t.line]
        for key in [(row["line"], row["operating_day"])]
    ]
    told = Books(ledgers.truth_rows(plant, ax, truths, books), pump_truth.weeks(plant, ax, truths, rows))
    return Made(plant, ax, truths, every, files, sorted(script, key=lambda f: (f.start_utc, f.line, f.kind, f.role)), told)


def _streams(plant: PlantScenario, seed: int) -> Callable[..., np.random.Generator]:
    def stream(purpose: int, part: int = 0) -> np.random.Generator:
        return np.random.default_rng([seed, list(PLANTS).index(plant.plant), purpose, part])

    return stream


@dataclass(frozen=True)
class Signals:
    """What the instruments of a plant showed, without files: for measuring detectors on minutes."""

    ax: Axis
    truths: list[Truth]
    rows: list[dict[str, Any]]
    shown: list[Shown]
    faults: list[Fault]


def signals(plant: PlantScenario, *, weeks: int, seed: int, start: date = START, entries: tuple[Entry, ...] = ()) -> Signals:
    """Simulate a plant with some faults and return what its instruments showed."""
    stream = _streams(plant, seed)
    ax = axis.build(plant, start, weeks, quiet=False)
    runs = [operators.schedule(plant, ax, k, stream(_SCHEDULE, k), False) for k in range(len(plant.lines))]
    script = fault_script.plan(plant, ax, runs, stream(_FAULTS), quiet=False, entries=entries)
    feed = process.sludge(plant, ax, stream(_SLUDGE), quiet=False)
    truths = [
        process.simulate(plant, line, ax, runs[k], feed, fault_script.disturbance(script, line.line, ax), stream(_LINES, k), False)
        for k, line in enumerate(plant.lines)
    ]
    shown = instruments.shown(plant.plant, ax, truths, stream(_INSTRUMENTS), quiet=False)
    for fault in script:
        fault.on_instruments(shown)
    return Signals(ax, truths, [row for t in truths for row in truth.days(plant, ax, t)], shown, script)


def _logged(plant: PlantScenario, ax: Axis, shown: list[Shown], rng: np.random.Generator, *, quiet: bool, deadband: bool) -> list[File]:
    if plant.plant == "alder-fork":
        return exports.wide_files("Alder Fork Water Reclamation Facility", "ALDER_SCADA", ax, shown, rng, quiet)
    if plant.plant == "sorrel-draw":
        return exports.change_files("sorrel_log", ax, shown, rng, quiet=quiet, deadband=deadband)
    return exports.quarter_files("brenholm_15min", ax, shown, rng, quiet)


def _write(out: Path, made: Made, given: dict[str, Any]) -> None:
    out.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(instruments.PLANT_FILES / f"{made.plant.plant}.toml", out / "plant.toml")
    shutil.copyfile(instruments.PLANT_FILES.with_name("plans") / f"{made.plant.plant}.toml", out / "plan.toml")
    zone = ZoneInfo(made.plant.zone)
    arriving = []
    for file in made.files:
        target = out / "exports" / file.path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(file.content)
        arriving.append((file.lands_utc(zone), file.path))
    deliveries = [(path, lands.astimezone(zone).isoformat(), lands.isoformat()) for lands, path in sorted(arriving)]
    write_csv(out / "deliveries.csv", ("file", "arrives_local", "arrives_utc"), deliveries)
    truth.write(out / "truth", made.plant, made.ax, made.truths, made.rows, given)
    for name, told in (("ledger_day", made.books.ledger_days), ("pump_week", made.books.pump_weeks)):
        pl.DataFrame(told, infer_schema_length=None).write_parquet(out / "truth" / f"{name}.parquet")
    names = ("plant", "line", "kind", "start_utc", "end_utc", "label", "effect", "handled")
    write_csv(out / "truth" / "faults.csv", names, [tuple(str(getattr(f, n)) for n in names) for f in made.faults])


def write_csv(path: Path, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Write a small CSV with line feeds."""
    with path.open("w", encoding="utf-8", newline="") as target:
        csv.writer(target, lineterminator="\n").writerows([header, *rows])


def main() -> None:
    """Parse the command line and generate."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("out", type=Path)
    ask.add_argument("--weeks", type=int, default=16)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--quiet", action="store_true", help="no noise, no rounding: for checks against the truth")
    ask.add_argument("--no-deadband", action="store_true")
    ask.add_argument("--no-faults", action="store_true")
    ask.add_argument("--plants", nargs="*", default=list(PLANTS), choices=list(PLANTS))
    given = ask.parse_args()
    generate(
        given.out, weeks=given.weeks, seed=given.seed, quiet=given.quiet, deadband=not given.no_deadband, faults=not given.no_faults,
        plants=given.plants, progress=lambda text: sys.stderr.write(text + "\n") and None,
    )  # fmt: skip


if __name__ == "__main__":
    main()
