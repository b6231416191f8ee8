"""Publication: built aside, checked, swapped; touched days only; killed anywhere; equal to a rebuild."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import publish
from pipelines.base import file_lock, resources
from pipelines.base.errors import InternalError
from pipelines.base.home import Home
from pipelines.store import Store, connect
from schemas import TABLES
from schemas.views.registry import VIEWS

ROOT = Path(__file__).resolve().parents[3]
DAY = date(2026, 3, 30)
PLAIN: dict[str, Any] = {"text": "x", "double": 1.0, "bigint": 1, "int": 1, "code": 0, "bool": False, "date": DAY,
                         "instant": datetime(2026, 3, 30, 10, tzinfo=UTC)}  # fmt: skip


def row(table: str, plant: str, **given: Any) -> dict[str, Any]:
    """One row that fits the table: allowed words where there is a closed list, nulls where they may be."""
    made = {c.name: (c.isin[0] if c.isin else PLAIN[c.type]) if not c.nullable else None for c in TABLES[table].columns}
    made.update({"plant": plant} if "plant" in made else {})
    made.update({"line": "line-1"} if "line" in made else {})
    assert given.keys() <= made.keys()
    return made | given


def append(store: Store, table: str, rows: list[dict[str, Any]]) -> None:
    store.append(table, pl.DataFrame(rows, schema=TABLES[table].polars_schema()))


def dosed(plant: str, table: str, at: datetime, **given: Any) -> dict[str, Any]:
    values = {"period_start_utc": at, "polymer_active_kg": 30.0, "dry_solids_t": 4.0, "dose_active_kg_t": 7.5, **given}
    return row(table, plant, **values)


def fill_day(store: Store, day: date, *, minutes: int = 30, flow: float = 80.0) -> None:
    """Rows of one operating day, as the steps would leave them, and the day on the list."""
    at = datetime.combine(day, time(10), tzinfo=UTC)
    plant = store.plant
    times = [at + timedelta(minutes=k) for k in range(minutes)]
    append(
        store, "minutes", [row("minutes", plant, minute_utc=t, operating_day=day, state="processing", sludge_flow_m3_h=flow) for t in times]
    )
    append(store, "readings", [row("readings", plant, tag="FT-1", time_utc=t, value=flow) for t in times])
    append(store, "kpi_hour", [dosed(plant, "kpi_hour", at, operating_day=day)])
    append(store, "kpi_shift", [dosed(plant, "kpi_shift", at, operating_day=day, shift="day")])
    append(store, "kpi_day", [dosed(plant, "kpi_day", at, operating_day=day)])
    append(store, "runs", [row("runs", plant, start_utc=at, operating_day=day)])
    append(store, "load_days", [row("load_days", plant, load_id=f"load-{day}", operating_day=day)])
    append(store, "loads", [row("loads", plant, load_id=f"load-{day}")])
    monday = day - timedelta(days=day.weekday())
    store.upsert("kpi_week", pl.DataFrame([dosed(plant, "kpi_week", at, week_start_day=monday)], schema=TABLES["kpi_week"].polars_schema()))
    for stage in ("publish", "readings"):
        store.mark_days(stage, [day])


def forget_day(store: Store, day: date) -> None:
    for table in ("minutes", "kpi_hour", "kpi_shift", "kpi_day", "runs", "load_days"):
        store.rows(f"DELETE FROM {table} WHERE operating_day = $d", {"d": day})
    store.rows("DELETE FROM loads WHERE load_id = $l", {"l": f"load-{day}"})
    store.rows("DELETE FROM packed_readings WHERE time_utc::DATE = $d", {"d": day})


@pytest.fixture(scope="session")
def published_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with one day published, made once; tests work on copies."""
    made = Home(tmp_path_factory.mktemp("once") / "home")
    with Store(made.store("oak-run"), "oak-run") as store:
        append(store, "line_settings", [row("line_settings", "oak-run", time_zone="America/New_York", line_name="Press 1")])
        fill_day(store, DAY)
        go(made, store)
    return made.root


@pytest.fixture
def home(tmp_path: Path, published_once: Path) -> Home:
    """A home with DAY published."""
    return Home(Path(shutil.copytree(published_once, tmp_path / "it's a home")))  # a quote in the path is data, not SQL


@pytest.fixture
def new_home(tmp_path: Path) -> Home:
    return Home(tmp_path / "new home")


@pytest.fixture
def store(home: Home) -> Iterator[Store]:
    with Store(home.store("oak-run"), "oak-run") as opened:
        yield opened


def go(home: Home, store: Store, **given: Any) -> Any:
    return publish.run(home, store, **given)


def read(home: Home, sql: str, of: str = "") -> list[tuple[Any, ...]]:
    """Ask the file of all plants, or that `of` one plant."""
    con = connect(home.published_plant(of) if of else home.database, read_only=True)
    try:
        return con.execute(sql).fetchall()
    finally:
        con.close()


def test_first_publication_holds_every_table_of_the_store(home: Home, store: Store) -> None:
    assert store.pending_days("publish") == []
    for table in publish.published_tables():
        published = read(home, f"SELECT count(*) FROM {table.name}")
        assert published == store.rows(f"SELECT count(*) FROM main.{table.name}"), table.name
    assert home.database.name in [p.name for p in home.published.iterdir()]
    assert not [p for p in home.published.iterdir() if "next" in p.name or p.suffix == ".wal"]


def test_receipt_of_a_first_publication(new_home: Home) -> None:
    with Store(new_home.store("oak-run"), "oak-run") as store:
        fill_day(store, DAY)
        receipt = go(new_home, store)
        assert (receipt.days, receipt.rows["minutes"], receipt.rows["kpi_week"]) == (1, 30, 1)
        store.rows("INSERT INTO minutes SELECT * FROM minutes LIMIT 1")
        new_home.published_plant("oak-run").unlink()
        with pytest.raises(InternalError):
            go(new_home, store)
    assert not new_home.published_plant("oak-run").exists()


def test_nothing_pending_leaves_the_files_alone(home: Home, store: Store) -> None:
    go(home, store)  # the home is a copy: its views now read its own Parquet
    before = [(path.stat().st_ino, path.stat().st_mtime_ns) for path in (home.database, home.published_plant("oak-run"))]
    receipt = go(home, store)
    assert (receipt.days, receipt.rows) == (0, {})
    assert [(path.stat().st_ino, path.stat().st_mtime_ns) for path in (home.database, home.published_plant("oak-run"))] == before


def test_a_file_set_aside_whole_is_published_though_it_touches_no_day(home: Home, store: Store) -> None:
    append(store, "loads", [row("loads", "oak-run", load_id="broken", status="set aside")])
    receipt = go(home, store)
    assert receipt.days == 0
    assert receipt.rows["loads"] == 1
    assert receipt.rows["minutes"] == receipt.rows["kpi_day"] == 0
    assert read(home, "SELECT status FROM loads WHERE load_id = 'broken'") == [("set aside",)]


def test_only_touched_days_are_written_and_the_result_is_that_of_a_rebuild(home: Home, store: Store) -> None:
    days = [DAY + timedelta(days=k) for k in (-40, -1, 1)]
    for day in days:
        fill_day(store, day)
    go(home, store)
    untouched = home.parquet / "minutes" / "plant=oak-run" / "month=2026-02" / "part.parquet"
    before = untouched.stat().st_ino
    forget_day(store, DAY)
    fill_day(store, DAY, minutes=20, flow=90.0)
    fill_day(store, DAY + timedelta(days=2))
    receipt = go(home, store)
    assert (receipt.days, receipt.rows["minutes"], receipt.rows["kpi_day"]) == (2, 50, 2)
    assert receipt.rows["loads"] == 1  # the load of the new day; that of the restated day is the same row
    assert untouched.stat().st_ino == before
    incremental = publish.hashes(home)
    assert incremental["minutes"].startswith("140-")
    go(home, store, whole=True)
    assert publish.hashes(home) == incremental
    filled = {t.name for t in publish.published_tables()} - {"kpi_day_history"}  # the ledger is no part of what is compared
    assert {t for t in incremental if "/" not in t} == filled | {"dictionary", "kpi_catalogue", "detectors"}


def test_a_changed_value_changes_the_hash(home: Home, store: Store) -> None:
    before = publish.hashes(home)
    store.rows("UPDATE minutes SET sludge_flow_m3_h = 80.0000000000001 WHERE minute_utc = (SELECT min(minute_utc) FROM minutes)")
    go(home, store, whole=True)
    after = publish.hashes(home)
    assert {t for t in after if after[t] != before[t]} == {"minutes", "parquet/minutes"}


def test_parquet_is_partitioned_and_read_by_glob(home: Home, store: Store) -> None:
    fill_day(store, DAY + timedelta(days=3))
    go(home, store)
    below = sorted(str(p.relative_to(home.parquet)) for p in home.parquet.rglob("*.parquet"))
    assert "readings/plant=oak-run/day=2026-03-30/part.parquet" in below
    assert "readings/plant=oak-run/day=2026-04-02/part.parquet" in below
    assert "minutes/plant=oak-run/month=2026-03/part.parquet" in below
    assert "kpi_day/plant=oak-run/part.parquet" in below
    assert "pending_days" not in {p.split("/")[0] for p in below}
    found = pl.read_parquet(home.parquet / "minutes" / "**" / "*.parquet", hive_partitioning=True)
    assert found.height == 60
    assert found["plant"].unique().to_list() == ["oak-run"]
    assert found.drop("month").schema == pl.Schema(TABLES["minutes"].polars_schema())


def test_partitions_without_rows_go(home: Home, store: Store) -> None:
    fill_day(store, DAY + timedelta(days=30))
    go(home, store)
    forget_day(store, DAY + timedelta(days=30))
    for stage in ("publish", "readings"):
        store.mark_days(stage, [DAY + timedelta(days=30)])
    go(home, store)
    assert not (home.parquet / "readings" / "plant=oak-run" / "day=2026-04-29").exists()
    left = home.parquet / "readings" / "plant=oak-run" / "day=2020-01-01"
    left.mkdir()
    (left / "part.parquet").write_bytes(b"stale")
    go(home, store, whole=True)
    assert not left.exists()


def test_two_plants_do_not_touch_each_other(home: Home, store: Store) -> None:
    with Store(home.store("elm-hill"), "elm-hill") as other:
        fill_day(other, DAY, minutes=7)
        go(home, other)
        assert read(home, "SELECT plant, count(*) FROM minutes GROUP BY 1 ORDER BY 1") == [("elm-hill", 7), ("oak-run", 30)]
        forget_day(store, DAY)
        fill_day(store, DAY, minutes=9)
        go(home, store, whole=True)
        assert read(home, "SELECT plant, count(*) FROM minutes GROUP BY 1 ORDER BY 1") == [("elm-hill", 7), ("oak-run", 9)]
        home.database.unlink()  # lost: each plant's next run brings its own rows back, though nothing is on its list
        go(home, other)
        go(home, store)
    assert read(home, "SELECT plant, count(*) FROM minutes GROUP BY 1 ORDER BY 1") == [("elm-hill", 7), ("oak-run", 9)]


def test_a_plant_waits_only_for_the_file_of_all_plants(home: Home) -> None:
    done = threading.Event()

    def other() -> None:
        with Store(home.store("elm-hill"), "elm-hill") as second:
            fill_day(second, DAY, minutes=7)
            go(home, second)
        done.set()

    with file_lock.waiting_for(home.publish_lock):
        thread = threading.Thread(target=other)
        thread.start()
        while not home.published_plant("elm-hill").exists():
            assert not done.wait(0.05)
        assert read(home, "SELECT plant FROM published_plants") == [("oak-run",)]
        assert not done.wait(0.3)
    thread.join(30)
    assert read(home, "SELECT DISTINCT plant FROM minutes ORDER BY 1") == [("elm-hill",), ("oak-run",)]


def test_reader_of_the_old_file_is_not_disturbed(home: Home, store: Store) -> None:
    reader = subprocess.Popen(
        [sys.executable, "-c", (
            "import sys; from pipelines.store.plant_store import connect; con = connect(sys.argv[1], read_only=True)\n"
            "print('open', flush=True); sys.stdin.readline(); print(con.execute('SELECT count(*) FROM minutes').fetchall()[0][0])")
            , str(home.database)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    assert reader.stdout is not None
    assert reader.stdout.readline() == "open\n"
    fill_day(store, DAY + timedelta(days=1))
    go(home, store)
    assert reader.communicate("go\n", timeout=30)[0] == "30\n"
    assert read(home, "SELECT count(*) FROM minutes") == [(60,)]


def test_opens_from_any_folder_and_its_views_work(home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    # 7.5 kg/t = 15 lb per short dry ton (2,000 lb/short ton over 1,000 kg/t: exactly 2); 10:00 UTC is 06:00 in New York in March 2026.
    found = read(home, "SELECT dose_lb_active_per_dry_ton, period_start_local FROM kpi_day_us")
    assert found == [(15.0, datetime(2026, 3, 30, 6))]  # noqa: DTZ001  plant time carries no zone


def test_every_object_is_commented_and_in_the_dictionary(home: Home) -> None:
    assert read(home, "SELECT table_name FROM duckdb_tables() WHERE NOT internal AND coalesce(comment, '') = ''") == []
    assert read(home, "SELECT view_name FROM duckdb_views() WHERE NOT internal AND coalesce(comment, '') = ''") == []
    assert read(home, "SELECT table_name, column_name FROM duckdb_columns() WHERE NOT internal AND coalesce(comment, '') = ''") == []
    macros = {p.stem for p in resources.sql_files("macros")}
    named = dict(read(home, "SELECT function_name, comment FROM duckdb_functions() WHERE NOT internal AND function_type LIKE '%macro'"))
    assert named.keys() >= macros
    assert all(named[m] for m in macros)
    objects = {r[0] for r in read(home, "SELECT DISTINCT table_name FROM dictionary")}
    words = {"dictionary", "kpi_catalogue", "detectors", "published_plants"}
    assert objects == {t.name for t in publish.published_tables()} | words | VIEWS.keys()
    undescribed = read(
        home,
        "SELECT c.table_name, c.column_name FROM duckdb_columns() c LEFT JOIN dictionary d USING (table_name, column_name) "
        "WHERE NOT c.internal AND d.unit IS NULL",
    )
    assert undescribed == []
    assert read(home, "SELECT unit FROM dictionary WHERE table_name = 'kpi_day' AND column_name = 'dose_active_kg_t'") == [("kg/t",)]


def test_dose_that_is_not_its_ratio_stops_publication_and_the_old_file_stays(home: Home, store: Store) -> None:
    before = home.published_plant("oak-run").read_bytes()
    fill_day(store, DAY + timedelta(days=1))
    store.rows("UPDATE kpi_day SET dose_active_kg_t = 7.6 WHERE operating_day = $d", {"d": DAY + timedelta(days=1)})
    with pytest.raises(InternalError, match="dose that is not active polymer over dry solids"):
        go(home, store)
    assert home.published_plant("oak-run").read_bytes() == before
    assert store.pending_days("publish") == [DAY + timedelta(days=1)]
    store.rows("UPDATE kpi_day SET dose_active_kg_t = 7.5")
    go(home, store)
    assert read(home, "SELECT count(*) FROM kpi_day") == [(2,)]


def test_ratio_is_held_to_rounding_on_both_sides(home: Home, store: Store) -> None:
    for factor, fits in (("0.9999999995", True), ("1.0000000005", True), ("0.999999998", False), ("1.000000002", False)):
        store.rows(f"UPDATE kpi_hour SET dose_active_kg_t = 7.5 * {factor}")
        store.mark_days("publish", [DAY])
        if fits:
            assert go(home, store).rows["kpi_hour"] == 1
        else:
            with pytest.raises(InternalError, match="kpi_hour have a dose"):
                go(home, store)


def test_doubled_key_stops_publication(home: Home, store: Store) -> None:
    store.rows("INSERT INTO minutes SELECT * FROM minutes LIMIT 1")
    store.mark_days("publish", [DAY])
    with pytest.raises(InternalError, match="minutes would hold 1 keys more than once"):
        go(home, store)
    assert read(home, "SELECT count(*) FROM minutes") == [(30,)]


def test_row_lost_outside_the_touched_days_is_noticed(home: Home, store: Store) -> None:
    forget_day(store, DAY)  # gone from the store, but the day is not on the list
    fill_day(store, DAY + timedelta(days=5))
    with pytest.raises(InternalError, match=re.escape("published minutes has 60 rows of oak-run, the store 30")):
        go(home, store)


@pytest.mark.parametrize("place", ["describe.is_written", "swap", "_check_counts", "_check", "_update"])
def test_failure_at_any_place_leaves_the_old_file_and_the_list(
    home: Home, store: Store, place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = home.published_plant("oak-run").read_bytes()
    fill_day(store, DAY + timedelta(days=1))

    def broken(*_: object) -> None:
        raise OSError("no space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(f"pipelines.publish.database.{place}", broken)
        with pytest.raises(OSError, match="no space"):
            go(home, store)
    assert home.published_plant("oak-run").read_bytes() == before
    assert store.pending_days("publish") == [DAY + timedelta(days=1)]
    go(home, store)
    assert read(home, "SELECT count(*) FROM minutes") == [(60,)]


_KILLED = """
import os, signal, sys
from pathlib import Path
from pipelines import publish
from pipelines.base.home import Home
from pipelines.publish import database
from pipelines.store import Store
home, real = Home(Path(sys.argv[1])), database.swap
def killed(fresh, final):
    if sys.argv[2] == "after":
        real(fresh, final)
    os.kill(os.getpid(), signal.SIGKILL)
database.swap = killed
with Store(home.store("oak-run"), "oak-run") as store:
    publish.run(home, store)
"""


@pytest.mark.parametrize("when", ["before", "after"])
def test_killed_around_the_swap(home: Home, when: str) -> None:
    with Store(home.store("oak-run"), "oak-run") as store:
        fill_day(store, DAY + timedelta(days=1))
    done = subprocess.run([sys.executable, "-c", _KILLED, str(home.root), when], cwd=ROOT, check=False, env=dict(os.environ))
    assert done.returncode == -signal.SIGKILL
    assert read(home, "SELECT count(*) FROM minutes", of="oak-run") == [(30 if when == "before" else 60,)]
    assert read(home, "SELECT count(*) FROM minutes") == [(30,)]
    with Store(home.store("oak-run"), "oak-run") as store:
        assert store.pending_days("publish") == [DAY + timedelta(days=1)]
        go(home, store)
        assert store.pending_days("publish") == []
        unbroken = publish.hashes(home)
        go(home, store, whole=True)
    assert publish.hashes(home) == unbroken
    assert read(home, "SELECT count(*) FROM minutes") == [(60,)]
