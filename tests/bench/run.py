"""The bench: `python tests/bench/run.py [--rows 3500000] [--rounds 3] [--only NAME,...] [--json FILE]`.

Each piece of work runs in a process of its own, rounds are interleaved, and every figure is set against
the floor measured in the same run. Prints best and median seconds, the ratio to the floor (best to best), peak memory.
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
import plants

HERE = Path(__file__).resolve().parent
LATER = (plants.START + timedelta(days=800)).astimezone(UTC).isoformat()
AS_OF = (plants.START + timedelta(days=1, hours=2)).astimezone(UTC).isoformat()


def run(name: str, **arguments: object) -> dict[str, object]:
    """Run one piece of work in a fresh process and return what it measured."""
    done = subprocess.run([sys.executable, str(HERE / "work.py"), name, json.dumps(arguments)], capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{name} failed:\n{done.stderr[-4000:]}")
    return json.loads(done.stdout.strip().splitlines()[-1])


def fresh_home(scratch: Path, file: Path, name: str) -> Path:
    """Return a new home with the bench plant and a copy of the file in its inbox."""
    home = scratch / "home"
    shutil.rmtree(home, ignore_errors=True)
    plants.write_plant_file(home / "plants" / "bench.toml")
    inbox = home / "inbox" / "bench"
    inbox.mkdir(parents=True)
    target = inbox / name
    shutil.copyfile(file, target)
    old = plants.START.timestamp()
    import os

    os.utime(target, (old, old))  # stable: not written to just now
    return home


def pieces(scratch: Path, long: Path, damaged: Path, wide: Path) -> dict[str, tuple[str, Callable[[], dict[str, object]]]]:
    """Return name -> (its floor, the work)."""

    def ours(work: str, file: Path, name: str) -> Callable[[], dict[str, object]]:
        when = LATER if name == "wide.csv" else AS_OF  # a wide file spans weeks: none of it may lie in the future
        return lambda: run(work, home=str(fresh_home(scratch, file, name)), plant="bench", as_of=when)

    return {
        "floor": ("floor", lambda: run("floor", file=str(long), out=str(scratch))),
        "duckdb csv to parquet": ("floor", lambda: run("duckdb_parquet", file=str(long), out=str(scratch))),
        "receive + check + store": ("floor", ours("intake", long, "long.csv")),
        "nightly": ("floor", ours("nightly", long, "long.csv")),
        "receive + check + store, 1 % bad": ("floor", ours("intake", damaged, "long_damaged.csv")),
        "floor, wide": ("floor, wide", lambda: run("floor_wide", file=str(wide), out=str(scratch))),
        "receive + check + store, wide": ("floor, wide", ours("intake", wide, "wide.csv")),
    }


def main() -> None:
    """Make the files, run the rounds, print the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--rows", type=int, default=3_456_000)
    ask.add_argument("--wide-rows", type=int, default=50_000)
    ask.add_argument("--rounds", type=int, default=3)
    ask.add_argument("--only", default="")
    ask.add_argument("--json", type=Path)
    ask.add_argument("--scratch", type=Path)
    given = ask.parse_args()
    scratch = given.scratch or Path(tempfile.mkdtemp(prefix="flocledger-bench-"))
    scratch.mkdir(parents=True, exist_ok=True)
    long, damaged, wide = scratch / "long.csv", scratch / "long_damaged.csv", scratch / "wide.csv"
    rows = plants.write_long(long, given.rows)
    plants.write_long(damaged, given.rows, bad_share=0.01)
    cells = plants.write_wide(wide, given.wide_rows)
    print(f"{rows:,} long rows, {long.stat().st_size / 2**20:.0f} MiB; wide {given.wide_rows:,} rows, {cells:,} cells", flush=True)
    chosen = {
        n: p
        for n, p in pieces(scratch, long, damaged, wide).items()
        if not given.only or n in given.only.split(",") or n.startswith("floor")
    }
    results: dict[str, list[dict[str, object]]] = {name: [] for name in chosen}
    for _ in range(given.rounds):
        for name, (_, work) in chosen.items():
            results[name].append(work())
    report(chosen, results, given.json)
    if not given.scratch:
        shutil.rmtree(scratch)


def report(chosen: dict[str, tuple[str, object]], results: dict[str, list[dict[str, object]]], target: Path | None) -> None:
    """Print the table and write the JSON."""
    seconds = {name: [float(r["seconds"]) for r in rounds] for name, rounds in results.items()}
    print(f"{'work':36} {'best s':>8} {'median s':>9} {'x floor':>8} {'peak MiB':>9}  notes")
    table = []
    for name, rounds in results.items():
        best, median = min(seconds[name]), statistics.median(seconds[name])
        ratio = best / min(seconds[chosen[name][0]])
        peak = max(float(r["peak_mib"]) for r in rounds)
        notes = {k: v for k, v in rounds[-1].items() if k not in ("seconds", "peak_mib")}
        print(f"{name:36} {best:8.2f} {median:9.2f} {ratio:8.2f} {peak:9.0f}  {notes or ''}")
        table.append({"work": name, "best_s": best, "median_s": median, "ratio_to_floor": ratio, "peak_mib": peak, **notes})
    if target:
        target.write_text(json.dumps(table, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
