"""The bench: `python tests/bench/run.py [SUITE ...] [--rounds 3] [--json FILE]`; suites: night sizes wide history plants tags questions start.

Each piece of work runs in a process of its own, rounds are interleaved, and every figure is set against the floor measured
in the same run: polars reading the same file as text, typing it and writing Parquet. Prints best and median seconds, the
ratio to the floor (best to best), peak memory. Without a suite: `night`, the day file of 40 signals each second.
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
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
import suites
from scratch import Scratch

HERE = Path(__file__).resolve().parent
Measured = dict[str, object]


@dataclass(frozen=True)
class Piece:
    """One line of the table: what runs (in work.py, with its arguments), made ready by `prepare`, and its floor by name."""

    name: str
    work: str
    prepare: Callable[[], dict[str, object]]
    floor: str | None = None


def measured(piece: Piece) -> Measured:
    """Run one piece in a fresh process and return what it measured."""
    arguments = json.dumps(piece.prepare())
    done = subprocess.run([sys.executable, str(HERE / "work.py"), piece.work, arguments], capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{piece.name} failed:\n{done.stderr[-4000:]}")
    return json.loads(done.stdout.strip().splitlines()[-1])


def report(pieces: list[Piece], found: dict[str, list[Measured]], target: Path | None) -> None:
    """Print the table and write the JSON."""
    best = {name: min(float(str(r["seconds"])) for r in rounds) for name, rounds in found.items()}
    print(f"{'work':44} {'best s':>8} {'median s':>9} {'x floor':>8} {'peak MiB':>9}  notes")
    table = []
    for piece in pieces:
        rounds = found[piece.name]
        median = statistics.median(float(str(r["seconds"])) for r in rounds)
        ratio = best[piece.name] / best[piece.floor] if piece.floor else None
        peak = max(float(str(r["peak_mib"])) for r in rounds)
        notes = {k: v for k, v in rounds[-1].items() if k not in ("seconds", "peak_mib")}
        shown = f"{ratio:8.2f}" if ratio is not None else f"{'-':>8}"
        print(f"{piece.name:44} {best[piece.name]:8.2f} {median:9.2f} {shown} {peak:9.0f}  {notes or ''}")
        table.append(
            {"work": piece.name, "best_s": best[piece.name], "median_s": median, "ratio_to_floor": ratio, "peak_mib": peak, **notes}
        )
    if target:
        target.write_text(json.dumps(table, indent=1), encoding="utf-8")


def main() -> None:
    """Make the files, run the rounds, print the tables."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("suite", nargs="*", default=["night"], choices=sorted(suites.SUITES))
    ask.add_argument("--rounds", type=int, default=3)
    ask.add_argument("--small", action="store_true", help="a sixtieth of the rows: shows that it runs, measures nothing")
    ask.add_argument("--json", type=Path)
    ask.add_argument("--scratch", type=Path, help="folder for files, kept and used again")
    given = ask.parse_args()
    folder = given.scratch or Path(tempfile.mkdtemp(prefix="flocledger-bench-"))
    folder.mkdir(parents=True, exist_ok=True)
    pieces = [Piece(*p) for suite in given.suite for p in suites.SUITES[suite](Scratch(folder, 60 if given.small else 1))]
    found: dict[str, list[Measured]] = {piece.name: [] for piece in pieces}
    for _ in range(given.rounds):
        for piece in pieces:
            found[piece.name].append(measured(piece))
    report(pieces, found, given.json)
    if not given.scratch:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
