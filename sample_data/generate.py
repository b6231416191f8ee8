"""Make the invented plants' exports, lab sheets and truth: `python -m sample_data.generate OUT [--weeks 16] [--seed 1] ...`."""

from __future__ import annotations

import argparse
import csv
import shutil
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from sample_data import exports, faults, lab, truth
from sample_data.scenario import PLANTS, PlantScenario
from sample_data.simulate import axis, simulate

START = date(2026, 1, 5)  # a Monday; both spring clock changes and the change of 3 March fall within 16 weeks


def generate(
    out: Path,
    *,
    weeks: int = 16,
    seed: int = 1,
    start: date = START,
    quiet: bool = False,
    deadband: bool = True,
    faults: bool = True,
    plants: Sequence[str] = ("alder-fork", "kestrel-mesa", "brenholm"),
    progress: Callable[[str], None] | None = None,
) -> None:
    """Write `out/<plant>/` with plant.toml, exports/, deliveries.csv and truth/ for each plant; same seed, same bytes."""
    for plant in plants:
        if progress:
            progress(f"making {weeks} weeks of {plant}")
        _plant(out / plant, PLANTS[plant], weeks, seed, start, quiet, deadband, faults)


def _plant(out: Path, plant: PlantScenario, weeks: int, seed: int, start: date, quiet: bool, deadband: bool, planted: bool) -> None:
    rng = np.random.default_rng([seed, list(PLANTS).index(plant.plant)])
    ax = axis(plant, start, weeks)
    truths = [simulate(plant, line, ax, rng, quiet) for line in plant.lines]
    days = {t.line: truth.days(plant, ax, t) for t in truths}
    shown = exports.instruments(plant, truths, rng, quiet)
    made = faults.plan(plant, ax, truths, rng) if planted else []
    for fault in made:
        fault.on_instruments(shown, ax)
    if plant.plant == "alder-fork":
        files = exports.wide_files(plant, ax, shown, quiet)
    elif plant.plant == "kestrel-mesa":
        files = exports.change_files(ax, shown, rng, quiet=quiet, deadband=deadband)
    else:
        files = exports.quarter_files(ax, shown, quiet)
    files += lab.sheets(plant, ax, truths, days, rng, quiet)
    for fault in made:
        files = fault.on_files(files)
    _write(out, plant, files)
    _write_truth(out / "truth", ax, truths, days, made, faults.touched_days(made, plant))


def _write(out: Path, plant: PlantScenario, files: list[exports.File]) -> None:
    folder = out / "exports"
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(Path(__file__).parent / "plants" / f"{plant.plant}.toml", out / "plant.toml")
    zone = ZoneInfo(plant.zone)
    with (out / "deliveries.csv").open("w", encoding="utf-8", newline="") as target:
        rows = csv.writer(target, lineterminator="\n")
        rows.writerow(("file", "arrives_local", "arrives_utc"))
        arriving = []
        for file in files:
            (folder / file.folder).mkdir(exist_ok=True)
            (folder / file.folder / file.name).write_bytes(file.content)
            lands = datetime.combine(file.day + timedelta(days=1), datetime.min.time(), zone).astimezone(UTC) + timedelta(hours=file.hours_late)
            relative = f"{file.folder}/{file.name}" if file.folder else file.name
            arriving.append((lands, relative))
        for lands, relative in sorted(arriving):
            rows.writerow((relative, lands.astimezone(zone).isoformat(), lands.isoformat()))


def _write_truth(out: Path, ax: object, truths: list, days: dict, made: list, touched: dict) -> None:  # type: ignore[type-arg]
    out.mkdir(parents=True, exist_ok=True)
    rows = []
    for row in (row for line in days.values() for row in line):
        key = (row["line"], row["operating_day"])
        rows.append({**row, "has_planted_fault": key in touched, "has_handled_fault_only": touched.get(key, False)})
    pl.DataFrame(rows, infer_schema_length=None).write_parquet(out / "day.parquet")
    pl.concat([truth.minutes(ax, t) for t in truths]).write_parquet(out / "minute.parquet")  # type: ignore[arg-type]
    schema = ("plant", "line", "kind", "start_utc", "end_utc", "label", "effect", "handled")
    with (out / "faults.csv").open("w", encoding="utf-8", newline="") as target:
        writer = csv.writer(target, lineterminator="\n")
        writer.writerow(schema)
        for fault in made:
            writer.writerow([getattr(fault, name) for name in schema])


def main() -> None:
    """Parse the command line and generate."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("out", type=Path)
    ask.add_argument("--weeks", type=int, default=16)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--quiet", action="store_true")
    ask.add_argument("--no-deadband", action="store_true")
    ask.add_argument("--no-faults", action="store_true")
    ask.add_argument("--plants", nargs="*", default=list(PLANTS))
    given = ask.parse_args()
    generate(given.out, weeks=given.weeks, seed=given.seed, quiet=given.quiet, deadband=not given.no_deadband, faults=not given.no_faults, plants=given.plants)


if __name__ == "__main__":
    main()
