"""Parquet beside the published file: `<table>/plant=<id>/...`, only partitions of touched days rewritten. (Readings: `readings.py`.)"""

from __future__ import annotations

import os
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from pipelines.base.home import Home
from pipelines.store import Store
from schemas import Table

_MAGIC, _SMALLEST = b"PAR1", 12  # a file begins and ends with the magic word; 4 bytes before the end say how long its footer is
# An operating day can begin up to a day after UTC midnight and end up to two days after it (zones reach from -12 to +14 h).
_BEFORE, _AFTER = timedelta(days=1), timedelta(days=3)


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


def write(home: Home, store: Store, table: Table, spans: list[tuple[date, date]] | None) -> None:
    """Write the partitions of a published table for the touched operating days (None: all, and stale ones removed)."""
    folder = folder_of(home, table.name, store.plant)
    if table.parquet_by is None:
        _copy(store, table, "TRUE", {}, folder / "part.parquet")
        return
    undivided = folder / "part.parquet"  # as an earlier version wrote it
    wanted = _partitions(store, table, None if undivided.exists() else spans)
    for name, first, end in wanted:
        where = f"{table.parquet_by} >= $first AND {table.parquet_by} < $end"
        _copy(store, table, where, {"first": first, "end": end}, folder / name / "part.parquet")
    undivided.unlink(missing_ok=True)
    if spans is None:
        _remove_stale(folder, {name for name, _, _ in wanted})


def _remove_stale(folder: Path, wanted: set[str]) -> None:
    for path in sorted(folder.glob("*")):
        if path.name not in wanted:
            shutil.rmtree(path) if path.is_dir() else path.unlink()


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


def _copy(store: Store, table: Table, where: str, within: dict[str, datetime], target: Path) -> None:
    """Write the rows of one partition in key order beside the target, then move it into place; no rows: no file."""
    if not store.rows(f"SELECT 1 FROM {table.name} WHERE {where} LIMIT 1", within):
        target.unlink(missing_ok=True)
        if target.parent.name.startswith("month=") and target.parent.exists():
            target.parent.rmdir()
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_name("part.next")  # no .parquet: readers that look for *.parquet must not see it
    columns = ", ".join(table.column_names)
    order = f" ORDER BY {', '.join(table.key)}"
    path = "'" + str(partial).replace("'", "''") + "'"
    store.rows(f"COPY (SELECT {columns} FROM {table.name} WHERE {where}{order}) TO {path} (FORMAT parquet, COMPRESSION zstd)", within)
    partial.replace(target)
