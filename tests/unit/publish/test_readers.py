"""The published file for those who read it with nothing but DuckDB: from Python, from any folder, with an older version."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import publish
from pipelines.base.errors import InternalError
from pipelines.base.home import Home
from pipelines.publish import database
from pipelines.store import Store, connect
from schemas import TABLES

DAY = date(2026, 3, 30)


def put(store: Store, table: str, **values: Any) -> None:
    """Append one row: the values given, else zero, empty, false or a day in March 2026 where null is not allowed."""
    start = datetime(2026, 3, 30, 10, tzinfo=UTC)
    fill = {"text": "x", "int": 0, "bigint": 0, "double": 0.0, "bool": False, "date": DAY, "instant": start, "code": 0}
    row = {c.name: values.get(c.name, None if c.nullable else fill[c.type]) for c in TABLES[table].columns}
    store.append(table, pl.DataFrame([row], schema=TABLES[table].polars_schema()))


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    home = Home(tmp_path_factory.mktemp("readers"))
    with Store(home.store("oak-run"), "oak-run") as store:
        here = {"plant": "oak-run", "line": "line-1"}
        put(store, "line_settings", **here, time_zone="America/New_York", week_start=1, units="US")
        put(
            store,
            "kpi_day",
            **here,
            operating_day=DAY,
            dose_active_kg_t=7.5,
            dose_active_kg_t_u=0.4,
            dry_solids_t=10.0,
            polymer_active_kg=75.0,
        )
        store.mark_days("publish", [DAY])
        publish.run(home, store)
    return home


# What a reader writes; it runs in a process that knows nothing of this project.
READER = """
import sys
import duckdb

con = duckdb.connect(sys.argv[1], read_only=True)
print(con.sql("SELECT dose_lb_active_per_dry_ton, dose_lb_active_per_dry_ton_u FROM kpi_day_us").fetchall())
print(con.sql("SELECT unit FROM dictionary WHERE table_name = 'kpi_day' AND column_name = 'dose_active_kg_t'").fetchall()[0][0])
print(con.sql("SELECT kg_t_to_lb_dt(7.5)").fetchall()[0][0])
print(con.sql("SELECT version, change FROM kpi_day_as_known_at(TIMESTAMPTZ '2100-01-01 00:00:00+00')").fetchall())
print(con.sql("SELECT dosed_days FROM dose_between(DATE '2026-03-01', DATE '2026-04-01')").fetchall())
print(con.sql("SELECT count(*) FROM restatements").fetchall()[0][0], con.sql("SELECT count(*) FROM dose_uncertainty_week").fetchall()[0][0])
"""


@pytest.mark.parametrize("of", ["all plants", "one plant"])
def test_plain_duckdb_reads_tables_views_and_macros(home: Home, tmp_path: Path, of: str) -> None:
    path = home.database if of == "all plants" else home.published_plant("oak-run")
    done = subprocess.run([sys.executable, "-I", "-c", READER, str(path)], capture_output=True, text=True, cwd=tmp_path, check=False)
    assert done.returncode == 0, done.stderr
    # 7.5 kg/t = 15 lb per short dry ton: exactly twice, as is the uncertainty
    assert done.stdout.splitlines() == ["[(15.0, 0.8)]", "kg/t", "15.0", "[(1, 'first published')]", "[(1,)]", "0 0"]


def test_attached_beside_other_files_its_tables_and_views_work(home: Home, tmp_path: Path) -> None:
    con = connect(tmp_path / "mine.duckdb")
    con.execute(f"ATTACH {database.quoted(home.database)} AS plants (READ_ONLY)")
    assert con.execute("SELECT dose_lb_active_per_dry_ton FROM plants.kpi_day_us").fetchall() == [(15.0,)]
    con.close()


def test_storage_version_is_one_that_duckdb_1_2_reads(home: Home) -> None:
    """Number 65 is storage v1.2.0: measured with DuckDB 1.2.2, 1.3.2, 1.4.4 and 1.5.1. DuckDB 1.5 writes 68, DuckDB 2 by default 69."""
    header = home.database.read_bytes()[:32]
    assert header[8:12] == b"DUCK"
    assert int.from_bytes(header[12:20], "little") == 65
    con = connect(home.database, read_only=True)
    tags = con.execute("SELECT tags FROM duckdb_databases() WHERE NOT internal AND path IS NOT NULL").fetchall()
    con.close()
    assert "v1.2.0" in str(tags)


def test_a_file_of_a_later_storage_version_is_refused_with_its_remedy(tmp_path: Path) -> None:
    home = Home(tmp_path)
    own = home.published_plant("oak-run")
    own.parent.mkdir(parents=True)
    con = connect()
    con.execute(f"ATTACH {database.quoted(own)} AS later (STORAGE_VERSION 'v1.5.0')")
    con.execute(TABLES["loads"].ddl("later.main"))
    con.close()
    with (
        Store(home.store("oak-run"), "oak-run") as store,
        pytest.raises(InternalError, match="made by another version"),
    ):
        database.build(home, store, [(DAY, DAY)], published=own, before_swap=lambda: pytest.fail("the file is not whole"))
    assert not [p for p in own.parent.iterdir() if "next" in p.name]
