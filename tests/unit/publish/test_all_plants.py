"""The small file of all plants: what it costs, moved homes, upgrades, old homes, tables without rows."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import publish
from pipelines.base.home import Home
from pipelines.publish import all_plants, database, describe
from pipelines.store import Store, connect
from schemas import TABLES

DAY = date(2026, 3, 30)


def put_day(home: Home, plant: str, dose: float) -> None:
    """Publish a plant with one operating day."""
    with Store(home.store(plant), plant) as store:
        fill = {
            "text": "x",
            "int": 0,
            "bigint": 0,
            "double": 0.0,
            "bool": False,
            "date": DAY,
            "instant": datetime(2026, 3, 30, 10, tzinfo=UTC),
            "code": 0,
        }
        given = {"plant": plant, "line": "line-1", "dose_active_kg_t": dose, "dry_solids_t": 10.0, "polymer_active_kg": 10.0 * dose}
        for table in ("loads", "kpi_day"):
            row = {c.name: given.get(c.name, None if c.nullable else fill[c.type]) for c in TABLES[table].columns}
            store.append(table, pl.DataFrame([row], schema=TABLES[table].polars_schema()))
        store.mark_days("publish", [DAY])
        publish.run(home, store)


def again(home: Home, plant: str) -> None:
    """Let a plant publish once more, with nothing on its list."""
    with Store(home.store(plant), plant) as store:
        publish.run(home, store)


def ask(path: Path, sql: str, published: Path | None = None) -> list[tuple[Any, ...]]:
    con = connect(path, read_only=True)
    try:
        if published is not None:
            con.execute(f"SET VARIABLE {all_plants.FOLDER_VARIABLE} = {database.quoted(published)}")
        return con.execute(sql).fetchall()
    finally:
        con.close()


DOSES = "SELECT plant, dose_active_kg_t FROM kpi_day ORDER BY plant"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = Home(tmp_path_factory.mktemp("all") / "it's home")
    put_day(home, "oak-run", 7.0)
    put_day(home, "9-elms", 8.0)  # sorts before the file without rows
    return home.root


@pytest.fixture
def home(made: Path, tmp_path: Path) -> Home:
    """A home of two plants, in its place."""
    home = Home(Path(shutil.copytree(made, tmp_path / "home")))
    again(home, "oak-run")
    return home


def test_a_new_plant_and_a_plants_night_change_little(home: Home) -> None:
    assert ask(home.database, DOSES) == [("9-elms", 8.0), ("oak-run", 7.0)]
    before = home.database.stat(), home.published_plant("oak-run").stat()
    again(home, "9-elms")
    assert (home.database.stat(), home.published_plant("oak-run").stat()) == before


def test_a_table_no_plant_has_rows_of_is_empty_and_typed(home: Home) -> None:
    assert ask(home.database, "SELECT * FROM comparisons") == []
    types = dict(ask(home.database, "SELECT column_name, data_type FROM duckdb_columns() WHERE table_name = 'comparisons'"))
    own = dict(ask(home.published_plant("oak-run"), "SELECT column_name, data_type FROM duckdb_columns() WHERE table_name = 'comparisons'"))
    assert types == own


def test_types_of_all_tables_are_those_of_a_plants_file(home: Home) -> None:
    sql = "SELECT table_name, column_name, data_type FROM duckdb_columns() WHERE NOT internal AND table_name <> 'published_plants' ORDER BY ALL"
    assert ask(home.database, sql) == ask(home.published_plant("oak-run"), sql)


def test_a_copy_reads_where_the_variable_points(home: Home, tmp_path: Path) -> None:
    moved = Path(shutil.move(home.root, tmp_path / "moved"))
    with pytest.raises(Exception, match="No files found"):
        ask(moved / "published" / "flocledger.duckdb", DOSES)
    assert len(ask(moved / "published" / "flocledger.duckdb", DOSES, published=moved / "published")) == 2
    alone = Path(shutil.copy(moved / "published" / "plants" / "oak-run.duckdb", tmp_path / "alone.duckdb"))
    assert ask(alone, DOSES) == [("oak-run", 7.0)]
    again(Home(moved), "oak-run")
    assert len(ask(moved / "published" / "flocledger.duckdb", DOSES)) == 2


def test_after_an_upgrade_that_adds_a_column_the_plants_not_yet_run_stay_with_null(home: Home) -> None:
    for path in sorted((home.parquet / "kpi_day" / "plant=9-elms").rglob("*.parquet")):  # as the version before wrote it
        pl.read_parquet(path, hive_partitioning=False).drop("filtrate_tss_mg_l").write_parquet(path)
    con = connect(all_plants_writable(home))
    con.execute("UPDATE published_plants SET is_of_today = plant <> '9-elms'")
    con.execute("COMMENT ON TABLE dictionary IS 'Definitions: of another version'")
    con.execute("DROP VIEW kpi_day")
    con.execute("CREATE VIEW kpi_day AS SELECT 1 AS plant")
    con.close()
    again(home, "oak-run")
    assert ask(home.database, DOSES) == [("9-elms", 8.0), ("oak-run", 7.0)]
    assert ask(home.database, "SELECT filtrate_tss_mg_l FROM kpi_day WHERE plant = '9-elms'") == [(None,)]
    assert ask(home.database, "FROM published_plants SELECT plant, is_of_today ORDER BY plant") == [("9-elms", False), ("oak-run", True)]
    with Store(home.store("9-elms"), "9-elms") as store:
        publish.run(home, store, whole=True)
    assert ask(home.database, "SELECT count(*) FROM published_plants WHERE is_of_today") == [(2,)]
    assert "union_by_name" not in str(ask(home.database, "SELECT sql FROM duckdb_views() WHERE view_name = 'kpi_day'"))


def all_plants_writable(home: Home) -> Path:
    home.database.chmod(0o644)
    return home.database


def test_a_home_of_one_file_for_all_plants_is_carried_over(home: Home) -> None:
    """As the versions before had it: all rows in one file, no file a plant, no file without rows."""
    shutil.rmtree(home.published / "plants")
    for path in home.parquet.glob("*/plant=_"):
        shutil.rmtree(path)
    home.database.unlink()
    con = connect()
    con.execute(f"ATTACH {database.quoted(home.database)} AS pub (STORAGE_VERSION '{database.STORAGE_VERSION}')")
    for table in publish.published_tables():
        con.execute(table.ddl("pub.main"))
    con.close()
    describe.write(home.database)
    assert home.published_of("9-elms") == home.database
    again(home, "oak-run")
    assert ask(home.database, DOSES) == [("9-elms", 8.0), ("oak-run", 7.0)]
    assert ask(home.published_of("9-elms"), DOSES + " LIMIT 1") == [("9-elms", 8.0)]
    again(home, "9-elms")
    assert home.published_of("9-elms") == home.published_plant("9-elms")
    assert ask(home.published_of("9-elms"), DOSES) == [("9-elms", 8.0)]
