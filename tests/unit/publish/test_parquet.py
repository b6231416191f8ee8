"""Parquet: readings by UTC day from a thread of their own, other tables by month; what an earlier version left undivided."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines.base.home import Home
from pipelines.publish import parquet, readings
from pipelines.store import Store
from pipelines.store.worker_threads import WorkerThreads
from schemas import TABLES

PLANT = "oak-run"
DAY = date(2026, 3, 30)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(tmp_path / "it's a home")  # a quote in the path is data, not SQL


@pytest.fixture
def store(home: Home) -> Iterator[Store]:
    with Store(home.store(PLANT), PLANT) as opened:
        yield opened


def put_readings(store: Store, day: date, tags: tuple[str, ...] = ("FT-1", "PT-2"), count: int = 300) -> None:
    """Some readings of each tag within a UTC day, the last without value, and the day on the list."""
    times = [datetime(day.year, day.month, day.day, 10, tzinfo=UTC) + timedelta(seconds=k) for k in range(count)]
    rows = [
        {
            "plant": PLANT,
            "tag": tag,
            "time_utc": t,
            "value": None if t == times[-1] else k / 8,
            "quality": 2 if t == times[-1] else 0,
            "load_id": f"l{day}",
        }
        for tag in tags
        for k, t in enumerate(times)
    ]
    store.append("readings", pl.DataFrame(rows, schema=TABLES["readings"].polars_schema()))
    store.mark_days(readings.STAGE, [day])


def file_of(home: Home, day: date) -> Path:
    return home.parquet / "readings" / f"plant={PLANT}" / f"day={day}" / "part.parquet"


def test_the_days_on_the_list_are_written_meanwhile(home: Home, store: Store) -> None:
    put_readings(store, DAY)
    put_readings(store, DAY + timedelta(days=2))
    with WorkerThreads(store, 1) as side:
        writing = side.submit(partial(readings.write, home, days=store.pending_days(readings.STAGE)))
        assert store.rows("SELECT count(*) FROM readings") == [(1200,)]  # the store goes on with other work
        assert writing.result() == {DAY, DAY + timedelta(days=2)}
    found = pl.read_parquet(file_of(home, DAY), hive_partitioning=False)
    assert found.schema == pl.Schema(TABLES["readings"].polars_schema())
    assert found.equals(store.frame("SELECT * FROM readings WHERE time_utc < DATE '2026-03-31'"))
    assert not file_of(home, DAY + timedelta(days=1)).exists()


def test_what_goes_wrong_there_is_raised_where_it_is_waited_for(home: Home, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    put_readings(store, DAY)

    def broken(*_: object) -> None:
        raise OSError("no space left on device")

    monkeypatch.setattr(readings, "_write_day", broken)
    with WorkerThreads(store, 1) as side:
        writing = side.submit(partial(readings.write, home, days=store.pending_days(readings.STAGE)))
        with pytest.raises(OSError, match="no space"):
            writing.result()
    assert store.pending_days(readings.STAGE) == [DAY]


def test_a_day_longer_than_a_row_group_keeps_its_order(home: Home, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readings, "ROWS_AT_ONCE", 130)
    put_readings(store, DAY)
    put_readings(store, DAY, tags=("FT-1",), count=0)
    readings.write_all(home, store, set())
    found = pl.read_parquet(file_of(home, DAY), hive_partitioning=False)
    assert found.equals(store.frame("SELECT * FROM readings"))


def test_files_of_days_without_readings_go(home: Home, store: Store) -> None:
    put_readings(store, DAY)
    put_readings(store, DAY + timedelta(days=1))
    readings.write_all(home, store, set())
    store.rows("DELETE FROM packed_readings WHERE time_utc < DATE '2026-03-31'")
    readings.write(home, store, [DAY])
    assert not file_of(home, DAY).parent.exists()
    store.rows("DELETE FROM packed_readings")
    readings.write_all(home, store, set())
    assert list((home.parquet / "readings").rglob("*.parquet")) == []


def put_minute(store: Store, day: date) -> None:
    plain: dict[str, Any] = {"text": PLANT, "bool": False, "date": day, "instant": datetime(day.year, day.month, day.day, 12, tzinfo=UTC)}
    row = {c.name: None if c.nullable else c.isin[0] if c.isin else plain[c.type] for c in TABLES["minutes"].columns}
    store.append("minutes", pl.DataFrame([row], schema=TABLES["minutes"].polars_schema()))


def test_a_table_that_an_earlier_version_left_undivided_is_divided_whole(home: Home, store: Store) -> None:
    folder, later = home.parquet / "minutes" / f"plant={PLANT}", DAY + timedelta(days=40)
    put_minute(store, DAY)
    put_minute(store, later)
    folder.mkdir(parents=True)
    (folder / "part.parquet").write_bytes(b"all months")
    parquet.put(parquet.write(home, store, TABLES["minutes"], [(later, later)]))
    assert sorted(str(p.relative_to(folder)) for p in folder.rglob("*.parquet")) == [
        "month=2026-03/part.parquet",
        "month=2026-05/part.parquet",
    ]
    (folder / "month=2026-03" / "part.parquet").write_bytes(b"as it was")
    parquet.put(parquet.write(home, store, TABLES["minutes"], [(later, later)]))
    assert (folder / "month=2026-03" / "part.parquet").read_bytes() == b"as it was"
