"""Readings in Parquet, one file a UTC day, rewritten where readings of the day came in.

Nothing that is computed from readings changes them, so a night writes them in a thread of its own while minutes and KPIs
are still being made (`order.nightly`).
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from itertools import chain
from pathlib import Path

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pa_parquet

from pipelines.base.home import Home
from pipelines.store import Store

STAGE = "readings"  # of pending_days: UTC days whose readings changed
ROWS_AT_ONCE = 4 * 122_880  # a row group: a few tags of a day each second, so that statistics by tag and time skip most of a file
_TEXTS = ("plant", "tag", "load_id")  # as dictionaries here; the file, without Arrow's own schema, has them as texts
_WORDS = pa.dictionary(pa.int32(), pa.string())
_SCHEMA = pa.schema(
    [
        pa.field("plant", _WORDS, nullable=False),
        pa.field("tag", _WORDS, nullable=False),
        pa.field("time_utc", pa.timestamp("us", "UTC"), nullable=False),
        pa.field("value", pa.float64()),
        pa.field("quality", pa.uint8(), nullable=False),
        pa.field("load_id", _WORDS, nullable=False),
    ]
)
_DAY = "SELECT tag_no, time_utc, value, quality, load_no FROM packed_readings WHERE time_utc >= $first AND time_utc < $end"


def write(home: Home, store: Store, days: Iterable[date]) -> set[date]:
    """Write the files of some days; a day without readings has none. Returns the days."""
    done, folder = set[date](), _folder(home, store.plant)
    tags, loads = (_words(store, *names) for names in (("tag", "tag_no", "tag_numbers"), ("load_id", "load_no", "load_numbers")))
    for day in days:
        _write_day(store, tags, loads, day, folder / f"day={day:%Y-%m-%d}" / "part.parquet")
        done.add(day)
    return done


def write_all(home: Home, store: Store, done: set[date]) -> None:
    """Write the files of all days but those `done`, and remove the files of days without readings."""
    days = {r[0] for r in store.rows("SELECT DISTINCT (time_utc AT TIME ZONE 'UTC')::DATE FROM packed_readings")}
    write(home, store, sorted(days - done))
    for path in sorted(_folder(home, store.plant).glob("*")):
        if path.name not in {f"day={day:%Y-%m-%d}" for day in days}:
            shutil.rmtree(path) if path.is_dir() else path.unlink()


def day_of(path: Path) -> date:
    """Return the UTC day of a file of readings, as its folder tells."""
    return date.fromisoformat(path.parent.name.removeprefix("day="))


def _folder(home: Home, plant: str) -> Path:
    return home.parquet / "readings" / f"plant={plant}"


def _words(store: Store, word: str, number: str, table: str) -> pa.Array:
    """Return the words of a table of numbers, each at the place of its number."""
    known = {n: w for w, n in store.rows(f"SELECT {word}, {number} FROM {table}")}
    return _texts(known.get(n, "") for n in range(max(known, default=0) + 1))


def _texts(words: Iterable[str]) -> pa.Array:
    """Return words as Arrow has them. (Arrow's own ways from lists and scalars import pandas where it is installed.)"""
    return pl.Series(list(words), dtype=pl.String).to_arrow().cast(pa.string())


def _write_day(store: Store, tags: pa.Array, loads: pa.Array, day: date, target: Path) -> None:
    """Write one day beside its file, in the store's order (by tag and time within a piece of a load), and move it into place."""
    first = datetime(day.year, day.month, day.day, tzinfo=UTC)
    found = store.con.sql(_DAY, params={"first": first, "end": first + timedelta(days=1)}).to_arrow_reader(ROWS_AT_ONCE)
    parts = (_spelled(part, store.plant, tags, loads) for part in found if part.num_rows)
    some = next(parts, None)
    if some is None:
        target.unlink(missing_ok=True)
        if target.parent.exists():
            target.parent.rmdir()
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_name("part.next")  # no .parquet: readers that look for *.parquet must not see it
    # Numbers become words on the page of the file alone. Steady times shrink by their differences, values by those that recur.
    with pa_parquet.ParquetWriter(
        partial, _SCHEMA, compression="zstd", store_schema=False, use_dictionary=[*_TEXTS, "value"],
        column_encoding={"time_utc": "DELTA_BINARY_PACKED"}, write_statistics=["tag", "time_utc", "quality"],
    ) as writer:  # fmt: skip
        for part in chain([some], parts):
            writer.write_table(part)
    partial.replace(target)


def _spelled(part: pa.RecordBatch, plant: str, tags: pa.Array, loads: pa.Array) -> pa.Table:
    """Return rows with words in the place of numbers."""
    said = {
        "plant": pa.DictionaryArray.from_arrays(pl.repeat(0, part.num_rows, dtype=pl.Int32, eager=True).to_arrow(), _texts([plant])),
        "tag": pa.DictionaryArray.from_arrays(part.column("tag_no"), tags),
        "time_utc": part.column("time_utc"),
        "value": part.column("value"),
        "quality": part.column("quality"),
        "load_id": pa.DictionaryArray.from_arrays(part.column("load_no"), loads),
    }
    return pa.table(said, schema=_SCHEMA)
