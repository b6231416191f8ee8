"""A store and a published file of an earlier version are brought up to date by the next night, with the same numbers."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines import order, publish
from pipelines.base.errors import DataMissingError, InternalError
from pipelines.base.home import Home
from pipelines.store import Store, connect, migrate

PLANT = "sorrel-draw"
AS_OF = datetime(2026, 6, 1, tzinfo=UTC)


def as_of_old(path: Path, *statements: str) -> None:
    con = connect(path)
    for statement in statements:
        con.execute(statement)
    con.close()


def readings_as_text() -> list[str]:
    """Statements that bring a store back to version 1, in which readings were a table of texts."""
    return [
        "CREATE TABLE was AS SELECT * FROM readings",
        "DROP VIEW readings",
        "DROP TABLE packed_readings",
        "DROP TABLE tag_numbers",
        "DROP TABLE load_numbers",
        "ALTER TABLE was RENAME TO readings",
        "UPDATE store_version SET version = 1",
    ]


def test_readings_of_version_1_are_packed_and_nothing_is_done_again(demo_home: Path) -> None:
    home = Home(demo_home)
    as_of_old(home.store(PLANT), *readings_as_text())
    before = publish.hashes(home)
    summary = order.nightly(home, PLANT, AS_OF)
    assert {s.days for s in summary.steps} == {0}
    order.rebuild(home, PLANT, as_of=AS_OF)
    assert publish.hashes(home) == before
    with Store(home.store(PLANT), PLANT) as store:
        assert store.emptied == []


@pytest.mark.parametrize(
    ("statements", "emptied"),
    [
        (["ALTER TABLE minutes DROP COLUMN sludge_flow_m3_h"], ["minutes"]),
        (["ALTER TABLE kpi_day DROP COLUMN capture_pct", "ALTER TABLE flags ADD COLUMN old INTEGER"], ["kpi_day", "flags"]),
    ],
    ids=["minutes", "kpi and flags"],
)
def test_changed_derived_tables_are_made_again(demo_home: Path, statements: list[str], emptied: list[str]) -> None:
    home = Home(demo_home)
    before = publish.hashes(home)
    as_of_old(home.store(PLANT), *statements)
    published = [s for s in statements if "minutes" not in s]
    home.published_plant(PLANT).chmod(0o644)
    as_of_old(
        home.published_plant(PLANT), *(f"DROP VIEW IF EXISTS {view}" for view in ("kpi_day_us", "kpi_week_us", "flags_local")), *published
    )
    with Store(home.store(PLANT), PLANT) as store:
        assert store.emptied == emptied
    order.nightly(home, PLANT, AS_OF)
    assert publish.hashes(home) == before


def test_a_new_column_of_checked_data_is_added_empty(demo_home: Path) -> None:
    home = Home(demo_home)
    as_of_old(home.store(PLANT), "ALTER TABLE lab_results DROP COLUMN crew")
    with Store(home.store(PLANT), PLANT) as store:
        assert store.emptied == []
        assert store.rows("SELECT count(*) > 0, count(crew) FROM lab_results") == [(True, 0)]


def test_checked_data_of_another_kind_ask_for_a_rebuild_which_helps(demo_home: Path) -> None:
    home = Home(demo_home)
    before = publish.hashes(home)
    as_of_old(home.store(PLANT), "ALTER TABLE loads DROP COLUMN sha256")
    with pytest.raises(DataMissingError, match="loads was made by an earlier flocledger") as caught:
        order.nightly(home, PLANT, AS_OF)
    assert "flocledger rebuild" in str(caught.value.remedy)
    order.rebuild(home, PLANT, as_of=AS_OF)
    assert publish.hashes(home) == before


def test_a_newer_store_is_left_alone(demo_home: Path) -> None:
    home = Home(demo_home)
    as_of_old(home.store(PLANT), f"UPDATE store_version SET version = {migrate.SCHEMA_VERSION + 1}")
    with pytest.raises(InternalError, match="written by a newer flocledger"):
        Store(home.store(PLANT), PLANT)
