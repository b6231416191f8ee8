"""The ledger of published versions: what counts as a change, why it came, when it was known, and that nothing rewrites it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines.publish import ledger
from pipelines.store import Store
from schemas import TABLES

DAY, NIGHT = date(2026, 3, 10), datetime(2026, 3, 11, 4, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "p.duckdb", "p") as made:
        put(made, "plant_file_versions", plant_file_id="f1", first_used_utc=NIGHT, toml="")
        load(made, 1, "day_1.csv", [DAY])
        kpi(made, DAY, dose_active_kg_t=8.0, minutes_seen=1440)
        yield made


def put(store: Store, table: str, **values: Any) -> None:
    schema = TABLES[table].polars_schema()
    row = {"plant": "p", "line": "line-1", **values}
    frame = pl.DataFrame({c: [row.get(c)] for c in schema}, schema=schema)
    texts = [pl.col(c.name).fill_null("x") for c in TABLES[table].columns if not c.nullable and c.type == "text"]
    numbers = [pl.col(c.name).fill_null(0) for c in TABLES[table].columns if not c.nullable and c.type in ("int", "bigint", "double")]
    times = [pl.col(c.name).fill_null(NIGHT) for c in TABLES[table].columns if not c.nullable and c.type == "instant"]
    flags = [pl.col(c.name).fill_null(False) for c in TABLES[table].columns if not c.nullable and c.type == "bool"]
    days = [pl.col(c.name).fill_null(DAY) for c in TABLES[table].columns if not c.nullable and c.type == "date"]
    store.append(table, frame.with_columns([*texts, *numbers, *times, *flags, *days]))


def load(store: Store, seq: int, name: str, days: list[date], *, lab: bool = False, version: int = 1) -> None:
    first = None if lab else NIGHT - timedelta(days=1)
    put(
        store,
        "loads",
        load_id=f"load-{seq}",
        file_name=name,
        received_seq=seq,
        version=version,
        first_utc=first,
        received_utc=NIGHT + timedelta(days=seq),
    )
    for day in days:
        put(store, "load_days", load_id=f"load-{seq}", operating_day=day)


def kpi(store: Store, day: date, **values: Any) -> None:
    store.rows("DELETE FROM kpi_day WHERE operating_day = $d", {"d": day})
    put(store, "kpi_day", operating_day=day, **values)


def written(store: Store, hours: float = 0.0) -> list[Any]:
    """Write the ledger as a night so many hours later would; return what it holds of new versions: (day, version, change, cause, files)."""
    keys = ledger.write(store, None, None, NIGHT + timedelta(hours=hours))
    sql = "SELECT operating_day, version, change, cause, files FROM kpi_day_history ORDER BY 1, 2"
    return [r for r in store.rows(sql) if ("line-1", r[0], r[1]) in keys]


def test_a_day_is_published_once_and_equal_values_add_nothing(store: Store) -> None:
    assert written(store) == [(DAY, 1, "first published", None, None)]
    assert written(store, 24) == []
    store.rows("UPDATE kpi_day SET data_version = 'other'")  # other inputs, the same numbers: nothing to restate
    assert written(store, 48) == []
    assert store.rows("SELECT known_from_utc FROM kpi_day_history") == [(NIGHT,)]


@pytest.mark.parametrize(
    "name, days, given, cause",
    [
        ("day_1.csv", [DAY], {"version": 2}, "file re-sent"),
        ("late.csv", [DAY], {}, "readings arrived"),
        ("next.csv", [DAY + timedelta(days=1)], {}, "readings of a day beside it arrived"),
        ("lab.csv", [DAY], {"lab": True}, "lab results arrived"),
        ("lab.csv", [DAY - timedelta(days=14)], {"lab": True}, "lab results of days before arrived"),
        ("lab.csv", [DAY - timedelta(days=15)], {"lab": True}, "corrected or computed anew"),
        ("lab.csv", [DAY + timedelta(days=1)], {"lab": True}, "corrected or computed anew"),
        ("far.csv", [DAY + timedelta(days=2)], {}, "corrected or computed anew"),
    ],
)
def test_the_cause_is_what_came_in_since(store: Store, name: str, days: list[date], given: dict[str, Any], cause: str) -> None:
    written(store)
    load(store, 2, name, days, **given)
    kpi(store, DAY, dose_active_kg_t=8.5, minutes_seen=1440)
    assert written(store, 24) == [(DAY, 2, "revised", cause, name if DAY in days else None)]
    assert cause in {*ledger.CAUSES, ledger.OTHERWISE}


def test_more_minutes_than_before_are_the_rest_of_the_day(store: Store) -> None:
    kpi(store, DAY, dose_active_kg_t=8.0, minutes_seen=700)
    written(store)
    load(store, 2, "rest.csv", [DAY])
    kpi(store, DAY, dose_active_kg_t=8.2, minutes_seen=1440)
    assert written(store, 24)[0][3] == "rest of the day arrived"


def test_a_revised_result_is_told_from_a_first_one_and_causes_add_up(store: Store) -> None:
    written(store)
    load(store, 2, "lab_2.csv", [DAY], lab=True)
    put(store, "lab_results_history", sample_id="s", analyte="ts", load_id="load-2", operating_day=DAY, revision=2, value=3.0)
    kpi(store, DAY, dose_active_kg_t=7.0, minutes_seen=1440)
    assert written(store, 24)[0][3:] == ("lab result revised", "lab_2.csv")
    load(store, 3, "lab_3.csv", [DAY], lab=True)
    load(store, 4, "late.csv", [DAY])
    put(store, "plant_file_versions", plant_file_id="f2", first_used_utc=NIGHT + timedelta(days=9), toml="")
    kpi(store, DAY, dose_active_kg_t=9.0, minutes_seen=1440)
    assert written(store, 48)[0][3:] == ("plant file changed, readings arrived, lab results arrived", "lab_3.csv, late.csv")


def test_provisional_and_final_show_even_when_no_number_moves(store: Store) -> None:
    kpi(store, DAY, dose_active_kg_t=8.0, is_provisional=True)
    written(store)
    kpi(store, DAY, dose_active_kg_t=8.0, is_provisional=False)
    assert written(store, 24)[0][2] == "provisional to final"
    kpi(store, DAY, dose_active_kg_t=8.0, is_provisional=True)
    assert written(store, 48)[0][2] == "final to provisional"


def test_a_day_that_goes_is_withdrawn_once_and_may_come_back(store: Store) -> None:
    written(store)
    store.rows("DELETE FROM kpi_day")
    assert [(r[1], r[2]) for r in written(store, 24)] == [(2, "withdrawn")]
    assert written(store, 48) == []
    kpi(store, DAY, dose_active_kg_t=8.0)
    assert [(r[1], r[2]) for r in written(store, 72)] == [(3, "revised")]


def test_known_from_grows_though_the_clock_does_not(store: Store) -> None:
    written(store)
    kpi(store, DAY, dose_active_kg_t=8.5)
    written(store, -5)  # a run that works as of an earlier time
    times = [r[0] for r in store.rows("SELECT known_from_utc FROM kpi_day_history ORDER BY version")]
    assert times == [NIGHT, NIGHT + timedelta(microseconds=1)]


def test_without_a_time_the_last_receipt_counts(store: Store) -> None:
    ledger.write(store, None, None, None)
    assert store.rows("SELECT known_from_utc FROM kpi_day_history") == [(NIGHT + timedelta(days=1),)]


def test_only_the_days_at_hand_are_looked_at(store: Store) -> None:
    other = DAY + timedelta(days=3)
    kpi(store, other, dose_active_kg_t=1.0)
    assert [k[1] for k in ledger.write(store, None, [(other, other)], NIGHT)] == [other]
    ledger.take_back(store, [("line-1", other, 1)])
    assert store.rows("SELECT count(*) FROM kpi_day_history") == [(0,)]
