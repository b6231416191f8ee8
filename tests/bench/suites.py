"""What the bench measures: suites of (name, work, what makes its arguments, name of its floor)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, timedelta
from pathlib import Path
from typing import Any

import plants
from scratch import Scratch

Rows = Iterator[tuple[str, str, Callable[[], dict[str, Any]], str | None]]

DAY_ROWS = 3_456_000  # 40 signals each second
WIDE_ROWS, WIDE_LINES = 525_600, 3  # a year of minutes of 60 signals
TAGS_A_FILE = 4_000  # columns; a file of more than 5,000 is refused


def _at(days: float) -> str:
    """Return the instant so many days after the first one of the bench, for receipts."""
    return (plants.START + timedelta(days=days)).astimezone(UTC).isoformat()


def _intake(scratch: Scratch, file: Path, days: float, count: int = 2) -> Callable[[], dict[str, Any]]:
    return lambda: {"home": str(scratch.home(file, count=count)), "plant": "bench", "as_of": _at(days)}


def _floor(scratch: Scratch, file: Path) -> Callable[[], dict[str, Any]]:
    return lambda: {"file": str(file), "out": str(scratch.folder)}


def night(scratch: Scratch) -> Rows:
    """A day file: the floor, DuckDB's own way, ours step by step, damaged, change-of-value, and the careful pandas script."""
    long, bad = scratch.long(DAY_ROWS), scratch.long(DAY_ROWS, "long_damaged.csv", bad_share=0.01)
    changes = scratch.file("1_long_changes.csv", lambda p: plants.write_changes(p, 86_400 // scratch.divisor))
    lab = scratch.file("1_lab.csv", lambda p: plants.write_lab(p, 1))
    week = scratch.history(7)
    yield "floor", "floor", _floor(scratch, long), None
    yield "duckdb, CSV to Parquet", "duckdb_parquet", _floor(scratch, long), "floor"
    yield "receive + check + store", "intake", _intake(scratch, long, 1.1), "floor"
    yield (
        "nightly, a week behind it", "nightly",
        lambda: {"home": str(scratch.home(long, lab, behind=week)), "plants": ["bench"], "as_of": _at(1.1)}, "floor",
    )  # fmt: skip
    yield (
        "nightly, the first of a plant", "nightly",
        lambda: {"home": str(scratch.home(long, lab)), "plants": ["bench"], "as_of": _at(1.1)}, "floor",
    )  # fmt: skip
    yield (
        "careful pandas script",
        "pandas_script",
        lambda: {"file": str(long), "out": str(scratch.folder), "home": str(scratch.folder / "home")},
        "floor",
    )
    yield "receive + check + store, 1 % bad", "intake", _intake(scratch, bad, 1.1), "floor"
    yield "floor, change of value", "floor", _floor(scratch, changes), None
    yield "receive + check + store, change of value", "intake", _intake(scratch, changes, 1.1), "floor, change of value"


def sizes(scratch: Scratch) -> Rows:
    """Long files of growing size: time per row and memory must not grow."""
    for rows in (345_600, DAY_ROWS, 34_560_000, 100_000_000):
        file, name = scratch.long(rows), f"{rows / 1e6:.2f} M rows"
        yield f"floor, {name}", "floor", _floor(scratch, file), None
        yield f"receive + check + store, {name}", "intake", _intake(scratch, file, rows / DAY_ROWS + 1), f"floor, {name}"


def wide(scratch: Scratch) -> Rows:
    """A year of minutes of 60 signals in one wide file."""
    file = scratch.file("1_wide.csv", lambda p: plants.write_wide(p, WIDE_ROWS // scratch.divisor, count=WIDE_LINES))
    yield "floor, wide", "floor_wide", _floor(scratch, file), None
    yield "receive + check + store, wide", "intake", _intake(scratch, file, 400, WIDE_LINES), "floor, wide"


def history(scratch: Scratch) -> Rows:
    """The same night with a week, a year and three years behind it; the weekly page of each."""
    long, lab = scratch.long(DAY_ROWS), scratch.file("1_lab.csv", lambda p: plants.write_lab(p, 1))
    first = None
    for days, name in ((7, "a week"), (365, "a year"), (1096, "three years")):
        kept = scratch.history(days)
        work = f"nightly, {name} behind it"
        yield (
            work,
            "nightly",
            lambda kept=kept: {"home": str(scratch.home(long, lab, behind=kept)), "plants": ["bench"], "as_of": _at(1.1)},
            first,
        )
        first = first or work
        yield (
            f"weekly page, {name} behind it",
            "weekly",
            lambda kept=kept: {"home": str(scratch.home(behind=kept)), "plant": "bench", "as_of": _at(0.5)},
            None,
        )


def many(scratch: Scratch) -> Rows:
    """One plant and twelve: a day of minute data each."""
    file = scratch.file("1_wide_day.csv", lambda p: plants.write_wide(p, 1440))
    lab = scratch.file("1_lab.csv", lambda p: plants.write_lab(p, 1))
    for count in (1, 12):
        yield (
            f"nightly of {count} plant{'s' * (count > 1)}, minute data", "nightly",
            lambda count=count: {"home": str(scratch.home(file, lab, plants_count=count)), "plants": scratch.plants(count), "as_of": _at(1.1)}, None,
        )  # fmt: skip


def tags(scratch: Scratch) -> Rows:
    """One plant of 10,000 signals (500 lines): a day of minute data in wide files of up to 4,000 columns."""
    count = max(500 // scratch.divisor, 2)
    parts = [slice(at, at + TAGS_A_FILE) for at in range(0, 20 * count, TAGS_A_FILE)]
    files = [
        scratch.file(f"{count}_wide_tags_{k}.csv", lambda p, part=part: plants.write_wide(p, 1440, count=count, part=part))
        for k, part in enumerate(parts, 1)
    ]
    lab = scratch.file(f"{count}_lab_tags.csv", lambda p: plants.write_lab(p, 1, count=count))
    name = f"{20 * count:,} signals"
    yield f"floor, the first file of {name}", "floor_wide", _floor(scratch, files[0]), None
    yield (
        f"receive + check + store, the first file of {name}",
        "intake",
        _intake(scratch, files[0], 1.1, count),
        f"floor, the first file of {name}",
    )
    yield (
        f"nightly, {name}", "nightly",
        lambda: {"home": str(scratch.home(*files, lab, count=count)), "plants": ["bench"], "as_of": _at(1.1)}, None,
    )  # fmt: skip


def start(scratch: Scratch) -> Rows:
    """From the shell: the help, a question, and a night without files."""
    kept = scratch.history(7)
    yield "flocledger --help", "command", lambda: {"arguments": ["--help"]}, None
    yield "flocledger ask", "command", lambda: {"arguments": ["--home", str(kept), "ask", "SELECT 42 AS answer"]}, None
    yield "flocledger nightly, nothing new", "command", lambda: {"arguments": ["--home", str(scratch.home(behind=kept)), "nightly"]}, None


def questions(scratch: Scratch) -> Rows:
    """Every saved question on three plants and three years of minutes."""
    kept = scratch.answers(3 if scratch.divisor == 1 else 1)
    yield "all saved questions", "questions", lambda: {"home": str(kept)}, None


SUITES: dict[str, Callable[[Scratch], Rows]] = {
    "night": night, "sizes": sizes, "wide": wide, "history": history, "plants": many, "tags": tags, "questions": questions, "start": start,
}  # fmt: skip
