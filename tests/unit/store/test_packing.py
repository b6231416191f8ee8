"""How DuckDB is told to pack readings: what it finds by itself, and readings come back whatever they are."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipelines.store import Store
from schemas import TABLES

PACKED = TABLES["packed_readings"]
T0 = datetime(2026, 1, 5, tzinfo=UTC)
ROWS = 130_000  # more than a row group


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "p.duckdb", "oak-run") as made:
        yield made


def by_tag(tags: int, rows: int) -> pl.DataFrame:
    """Return readings as a night brings them: a second apart, by tag and time."""
    each = rows // tags
    place = pl.int_range(rows, eager=True)
    return pl.DataFrame(
        {
            "tag": (place // each).cast(pl.String).str.zfill(4),
            "time_utc": pl.Series([T0]).cast(pl.Datetime("us", "UTC")).new_from_index(0, rows) + (place % each) * timedelta(seconds=1),
            "value": ((place * 7919) % 1000).cast(pl.Float64) / 8.0,
            "quality": pl.repeat(0, rows, dtype=pl.UInt8, eager=True),
            "load_id": pl.repeat("one load", rows, eager=True),
        }
    )


def packing(store: Store, table: str = "packed_readings") -> dict[str, set[str]]:
    store.con.execute("CHECKPOINT")
    found: dict[str, set[str]] = {}
    sql = f"SELECT column_name, compression FROM pragma_storage_info('{table}') WHERE segment_type <> 'VALIDITY'"
    for column, way in store.rows(sql):
        found.setdefault(column, set()).add(way.lower())
    return found


def test_the_ways_declared_are_those_that_duckdb_finds_itself(store: Store) -> None:
    declared = {c.name: c.compression for c in PACKED.columns if c.compression}
    assert set(declared) == {"tag_no", "time_utc", "quality", "load_no"}
    store.append("readings", by_tag(40, ROWS))
    columns = ", ".join(
        f"{c.name} {kind}" for c, kind in zip(PACKED.columns, ("INTEGER", "TIMESTAMPTZ", "DOUBLE", "UTINYINT", "INTEGER"), strict=True)
    )
    store.con.execute(f"CREATE TABLE unsaid ({columns})")
    store.con.execute("INSERT INTO unsaid SELECT * FROM packed_readings")
    found, by_itself = packing(store), packing(store, "unsaid")
    assert found == by_itself
    for column, way in declared.items():
        assert found[column] <= {way, "constant"}


def test_readings_that_are_packed_badly_come_back_as_they_were(store: Store) -> None:
    """No two neighbours alike: tags, qualities and steps of time change from row to row."""
    place = pl.int_range(ROWS, eager=True)
    frame = by_tag(40, ROWS).with_columns(
        tag=((place * 37) % 41).cast(pl.String),
        quality=(place % 3).cast(pl.UInt8),
        time_utc=pl.Series([T0]).cast(pl.Datetime("us", "UTC")).new_from_index(0, ROWS)
        + ((place * 104_729) % 1_299_709) * timedelta(microseconds=977),
        load_id=pl.Series((place % 5).cast(pl.String)),
    )
    store.append("readings", frame)
    packing(store)
    found = store.frame("SELECT tag, time_utc, value, quality, load_id FROM readings")
    assert found.equals(frame)
