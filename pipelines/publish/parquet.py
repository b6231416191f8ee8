"""Parquet beside the published files: `<table>/plant=<id>/...`, only partitions of touched days rewritten. (Readings: `readings.py`.)

Partitions are written beside the files they replace, and put in their place together (`put`), so that readers of several tables see
one publication or the next.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from pipelines.base.home import Home
from pipelines.store import Store
from schemas import Table

_MAGIC, _SMALLEST = b"PAR1", 12  # a file begins and ends with the magic word; 4 bytes before the end say how long its footer is
# An operating day can begin up to a day after UTC midnight and end up to two days after it (zones reach from -12 to +14 h).
_BEFORE, _AFTER = timedelta(days=1), timedelta(days=3)


@dataclass(frozen=True)
class Change:
    """A file to be replaced by a fresh one written beside it, or (None) to be removed."""

    target: Path
    fresh: Path | None


def folder_of(home: Home, table: str, plant: str) -> Path:
    """Return the folder of a plant's rows of a table."""
    return home.parquet / table / f"plant={plant}"


def is_whole(path: Path) -> bool:
    """Return whether a file is there and ends as a Parquet file does: a cut or half-written one does not."""
    try:
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            if size < _SMALLEST:
                return False
            file.seek(-8, os.SEEK_END)
            tail = file.read(8)
    except OSError:
        return False
    return tail[4:] == _MAGIC and int.from_bytes(tail[:4], "little") + _SMALLEST <= size


def damaged(home: Home, plant: str) -> list[Path]:
    """Return the Parquet files of a plant that are not whole, sorted; reads the last bytes of each."""
    return sorted(p for folder in home.parquet.glob(f"*/plant={plant}") for p in folder.rglob("*.parquet") if not is_whole(p))


def write(home: Home, store: Store, table: Table, spans: list[tuple[date, date]] | None) -> list[Change]:
    """Write the partitions of a published table for the touched operating days (None: all) beside their files; return what to `put`."""
    folder = folder_of(home, table.name, store.plant)
    if table.parquet_by is None:
        return [_copy(store, table, "TRUE", {}, folder / "part.parquet")]
    undivided = folder / "part.parquet"  # as an earlier version wrote it
    everything = spans is None or undivided.exists()
    changes = []
    for name, first, end in _partitions(store, table, None if everything else spans):
        where = f"{table.parquet_by} >= $first AND {table.parquet_by} < $end"
        changes.append(_copy(store, table, where, {"first": first, "end": end}, folder / name / "part.parquet"))
    stale = set(folder.rglob("*.parquet")) - {change.target for change in changes} if everything else set()
    return changes + [Change(path, None) for path in sorted(stale)]


def put(changes: Iterable[Change]) -> None:
    """Put fresh files in the place of the old ones, and remove files without rows with their empty folders."""
    for change in changes:
        if change.fresh is not None:
            change.fresh.replace(change.target)
            continue
        change.target.unlink(missing_ok=True)
        if "=" in change.target.parent.name:
            with contextlib.suppress(OSError):  # of a table without files, or with other files in it
                change.target.parent.rmdir()


def _partitions(store: Store, table: Table, spans: list[tuple[date, date]] | None) -> list[tuple[str, datetime, datetime]]:
    """Return (name, first, end) of the UTC months that can hold rows of the touched days."""
    if spans is None:
        first, last = store.rows(f"SELECT min({table.parquet_by}), max({table.parquet_by}) FROM {table.name}")[0]
        if first is None:
            return []
        first, last = (at.astimezone(UTC) if isinstance(at, datetime) else _midnight(at) for at in (first, last))
        reach = [(first, last + timedelta(microseconds=1))]
    else:
        reach = [(_midnight(a) - _BEFORE, _midnight(b) + _AFTER) for a, b in spans]
    found: dict[str, tuple[datetime, datetime]] = {}
    for begin, end in reach:
        at = _midnight(begin.date().replace(day=1))
        while at < end:
            following = (at + timedelta(days=32)).replace(day=1)
            found[f"month={at:%Y-%m}"] = (at, following)
            at = following
    return [(name, *bounds) for name, bounds in sorted(found.items())]


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _copy(store: Store, table: Table, where: str, within: dict[str, datetime], target: Path) -> Change:
    """Write the rows of one partition in key order beside the target; no rows: no file."""
    if not store.rows(f"SELECT 1 FROM {table.name} WHERE {where} LIMIT 1", within):
        return Change(target, None)
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_name("part.next")  # no .parquet: readers that look for *.parquet must not see it
    columns = ", ".join(table.column_names)
    order = f" ORDER BY {', '.join(table.key)}"
    path = "'" + str(partial).replace("'", "''") + "'"
    store.rows(f"COPY (SELECT {columns} FROM {table.name} WHERE {where}{order}) TO {path} (FORMAT parquet, COMPRESSION zstd)", within)
    return Change(target, partial)
