"""Comparisons of the three invented plants against their truth: new seeds, frozen plans, whole way from exports to verdict.

Run `python -m tests.bench.plant_study --seeds 21 22 23 --out FILE` from the top of the sources. With --faulty the sludge flow meter of the first plant's
line 1 reads 15 % low from the change on: the gate on meters must refuse the number, or leave the weeks out.
"""

from __future__ import annotations

import argparse
import re
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

from pipelines import demo
from pipelines.base.home import Home
from pipelines.compare import comparison
from pipelines.compare import plan as plans
from pipelines.store import Store
from sample_data import generate
from sample_data.scenario import PLANTS, potency_shift

END = datetime(2026, 5, 1, 12, tzinfo=UTC)
WEEKS = 16
TRUE_CAKE = {"alder-fork": 0.8, "sorrel-draw": 1.2, "brenholm": -0.6}  # points at equal relative dose
FAULTY_FROM = date(2026, 3, 3)
FAULTY_COLUMN, FAULTY_FACTOR = "L1 FIT-110 Sludge Feed", 0.85


def compared(folder: Path, plant: str, seed: int, *, is_faulty: bool = False) -> list[dict[str, object]]:
    """Generate a plant's 16 weeks, take all of it in, and return the rows of its comparison."""
    generate.generate(folder / "made", weeks=WEEKS, seed=seed, plants=(plant,))
    if is_faulty:
        spoil(folder / "made" / plant / "exports")
    home = Home(folder / "home")
    home.root.mkdir()
    (plant_file,) = demo.place(home, folder / "made")
    demo.take_in(home, plant, demo.deliveries(folder / "made"), END, publish_now=False)
    loaded = plans.load(home, demo.plan_of(plant))
    with Store(home.store(plant_file.plant.id), plant) as store:
        return comparison.compare(store, loaded, END)["comparisons"].to_dicts()


def spoil(exports: Path) -> None:
    """Let the faulty meter read low in every export from the day of the change on."""
    for path in sorted(exports.glob("ALDER_SCADA_*.csv")):
        stamp = re.search(r"(\d{8})", path.name)
        if stamp is None or datetime.strptime(stamp[1], "%Y%m%d").replace(tzinfo=UTC).date() < FAULTY_FROM:
            continue
        lines, at = path.read_text(encoding="utf-8").split("\n"), None
        for k, line in enumerate(lines):
            cells = line.split(",")
            if FAULTY_COLUMN in cells:
                at = cells.index(FAULTY_COLUMN)
            elif at is not None and len(cells) > at:
                try:
                    cells[at] = f"{float(cells[at]) * FAULTY_FACTOR:.1f}"
                except ValueError:
                    continue
                lines[k] = ",".join(cells)
        path.write_text("\n".join(lines), encoding="utf-8")


def rows(seeds: list[int], plants: list[str], *, is_faulty: bool) -> Iterator[str]:
    """Yield a row of the table for each seed, plant and outcome with a known truth."""
    for seed in seeds:
        for plant in plants:
            with tempfile.TemporaryDirectory() as folder:
                found = compared(Path(folder), plant, seed, is_faulty=is_faulty)
            scenario = PLANTS[plant]
            truths = {"fed-dose saving": 100.0 * potency_shift(scenario, scenario.lines[0]), "cake at the dose needed": TRUE_CAKE[plant]}
            truths["iso-performance saving"] = truths["fed-dose saving"]
            for row in found:
                e, low, high, true = row["estimate"], row["low"], row["high"], truths.get(str(row["outcome"]))
                number = "" if e is None else f"{e:.1f} ({low or float('nan'):.1f} to {high or float('nan'):.1f})"
                inside = "" if true is None or e is None else "yes" if (low or 0.0) <= true <= (high or 0.0) else "NO"
                told = "" if true is None else f"{true:.1f}"
                yield f"| {plant} | {seed} | {row['outcome']} | {number} | {told} | {inside} | {row['verdict']} | {row['reason']} |"


def main() -> None:
    """Run the seeds asked for and write the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--seeds", type=int, nargs="+", default=[21, 22, 23])
    ask.add_argument("--plants", nargs="+", default=list(PLANTS), choices=list(PLANTS))
    ask.add_argument(
        "--faulty", action="store_true", help="the sludge flow meter of the first plant's line 1 reads 15 %% low from the change on"
    )
    ask.add_argument("--out", type=Path)
    given = ask.parse_args()
    told = ["| plant | seed | outcome | estimate | truth | inside | verdict | reason |", "|---|---|---|---|---|---|---|---|"]
    for row in rows(given.seeds, ["alder-fork"] if given.faulty else given.plants, is_faulty=given.faulty):
        told.append(row)
        sys.stderr.write(row + "\n")
    text = "\n".join(told) + "\n"
    if given.out:
        given.out.write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)


if __name__ == "__main__":
    main()
