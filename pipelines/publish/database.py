"""The published DuckDB file of a plant: copied aside, updated, checked, swapped in."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import duckdb

from pipelines.base.errors import InternalError
from pipelines.base.home import Home
from pipelines.publish import describe
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from schemas import TABLES, Table

# Read by DuckDB 1.2 and later (measured with 1.2.2, 1.3.2, 1.4.4, 1.5.1), at the same size as v1.5.0, which 1.4 cannot read; v1.0.0 is a
# tenth larger, and 1.1 reads none of them. Files in the default storage of DuckDB 2 only DuckDB 2 reads.
STORAGE_VERSION = "v1.2.0"
ONLY_PARQUET = ("readings",)
# Rows of these can change on days that are not on the list (a run or an episode that began before): compared whole.
_ACROSS_DAYS = ("runs", "flags", "service_log")
# Days written at once, so that the sort by key stays small in memory however long the backfill is.
_DAYS_AT_ONCE = 92
# A published ratio may differ from numerator / denominator by rounding of doubles only.
_RATIO_TOLERANCE = 1e-9
_READABLE = 0o444
_REMEDY = "run `flocledger rebuild` for the plant; if it persists, report it with this line"

Spans = list[tuple[date, date]]


def published_tables() -> list[Table]:
    """Return the tables of the published file that steps fill, in the order they are written."""
    return [t for t in TABLES.values() if t.published and t.name not in (*ONLY_PARQUET, *describe.WRITTEN_HERE, "published_plants")]


def day_column(table: Table) -> str | None:
    """Return the column whose touched days say which rows to replace; None: the whole table is compared."""
    if table.step in ("check", "compare") or table.name in _ACROSS_DAYS:
        return None
    return next((c for c in ("operating_day", "week_start_day") if c in table.column_names), None)


def quoted(text: object) -> str:
    """Return a text as an SQL literal (paths may hold quotes)."""
    return "'" + str(text).replace("'", "''") + "'"


def build(home: Home, store: Store, spans: Spans | None, *, published: Path | None, before_swap: Callable[[], object]) -> dict[str, int]:
    """Make the plant's next published file and swap it in; return rows written per table.

    It begins as a copy of the current one (`published`) and gets the store's rows of the touched days; without one (None) it is
    written whole, and so packed. `before_swap` is called when the file is ready, and may refuse it by an error.
    """
    final = home.published_plant(store.plant)
    final.parent.mkdir(parents=True, exist_ok=True)
    fresh = final.with_name(f".{store.plant}.next")
    remove(fresh)
    if published is not None:
        shutil.copyfile(published, fresh)
    try:
        rows, is_described = _fill(store, fresh, spans)
        if not is_described:
            describe.write(fresh)
        before_swap()
        swap(fresh, final)
    except BaseException:
        remove(fresh)
        raise
    return rows


def remove(path: Path) -> None:
    """Remove a database file that was not finished, with its log."""
    path.unlink(missing_ok=True)
    path.with_name(path.name + ".wal").unlink(missing_ok=True)


def _fill(store: Store, fresh: Path, spans: Spans | None) -> tuple[dict[str, int], bool]:
    """Put the rows into the file; returns rows written per table, and whether the file's words are of these definitions."""
    con = store.con
    _attach(con, fresh)
    try:
        present = _columns(con, "pub")
        con.execute("BEGIN")  # one connection, and with a log: without one, commits of two at once lost rows (DuckDB 2.0.1)
        rows = {}
        for table in published_tables():
            if table.name not in present:
                con.execute(table.ddl("pub.main"))
            rows[table.name] = _update(store, table, spans)
        con.execute("COMMIT")
        _check_counts(store)
        for table in published_tables():
            if rows[table.name]:
                _check(store, table, spans)
        con.execute("CHECKPOINT pub")
        is_described = describe.is_written(con, "pub")
    except BaseException:
        _roll_back(con)
        raise
    finally:
        con.execute("DETACH DATABASE IF EXISTS pub")
    return rows, is_described


def _attach(con: duckdb.DuckDBPyConnection, fresh: Path) -> None:
    try:
        con.execute(f"ATTACH {quoted(fresh)} AS pub (STORAGE_VERSION '{STORAGE_VERSION}')")
    except duckdb.InvalidInputException as error:  # a storage version cannot be lowered
        raise _other_version("file") from error


def _other_version(what: str) -> InternalError:
    return InternalError(
        f"the published {what} was made by another version of flocledger",
        remedy="move the published file away and run `flocledger nightly` for the plant",
    )


def _roll_back(con: duckdb.DuckDBPyConnection) -> None:
    with contextlib.suppress(duckdb.TransactionException):  # it was committed before the check failed
        con.execute("ROLLBACK")


@dataclass(frozen=True)
class State:
    """What a plant's published file holds: its loads, and whether storage version and columns are today's."""

    loads: int
    is_of_today: bool


def state(published: Path | None, store: Store) -> State:
    """Look into the published file, if there is one."""
    if published is None:
        return State(0, is_of_today=False)
    con = store.con
    con.execute(f"ATTACH {quoted(published)} AS published (READ_ONLY)")
    try:
        columns = _columns(con, "published")
        kept = con.execute("SELECT tags['storage_version'] FROM duckdb_databases() WHERE database_name = 'published'").fetchall()[0][0]
        fit = all(columns.get(t.name, t.column_names) == t.column_names for t in published_tables())
        known = (
            con.execute("SELECT count(*) FROM published.main.loads WHERE plant = $p", {"p": store.plant}).fetchall()
            if "loads" in columns
            else []
        )
        return State(int(known[0][0]) if known else 0, str(kept).startswith(STORAGE_VERSION) and fit)
    finally:
        con.execute("DETACH published")


def _columns(con: duckdb.DuckDBPyConnection, database: str) -> dict[str, tuple[str, ...]]:
    """Return table -> names of its columns in a database."""
    sql = (
        "SELECT table_name, list(column_name ORDER BY column_index) FROM duckdb_columns() WHERE database_name = $d AND schema_name = 'main' "
        "GROUP BY table_name"
    )
    return {table: tuple(columns) for table, columns in con.execute(sql, {"d": database}).fetchall()}


def _update(store: Store, table: Table, spans: Spans | None) -> int:
    """Put the store's rows in the place of the published ones; returns the rows written."""
    column = day_column(table)
    if column is None:
        return _write_differences(store, table)
    if spans is None:
        first, last = store.rows(f"SELECT min({column}), max({column}) FROM main.{table.name}")[0]
        spans = [(first, last)] if first is not None else []
    return sum(_replace(store, table, column, *piece) for span in spans for piece in _pieces(*_reach(column, *span)))


def _reach(column: str, first: date, last: date) -> tuple[date, date]:
    """Return the span of the column's values that rows of these operating days have."""
    return (first - timedelta(days=6), last) if column == "week_start_day" else (first, last)


def _pieces(first: date, last: date) -> Spans:
    starts = [first + timedelta(days=k) for k in range(0, (last - first).days + 1, _DAYS_AT_ONCE)]
    return [(s, min(last, s + timedelta(days=_DAYS_AT_ONCE - 1))) for s in starts]


def _replace(store: Store, table: Table, column: str, first: date, last: date) -> int:
    within = {"first": first, "last": last}
    where = f"{column} BETWEEN $first AND $last"
    columns, key = ", ".join(table.column_names), ", ".join(table.key)
    store.con.execute(f"DELETE FROM pub.main.{table.name} WHERE plant = $plant AND {where}", {"plant": store.plant, **within})
    sql = f"INSERT INTO pub.main.{table.name} SELECT {columns} FROM main.{table.name} WHERE {where} ORDER BY {key}"
    return int(store.rows(sql, within)[0][0])


def _write_differences(store: Store, table: Table) -> int:
    """Write only rows that are new or changed, and take out those that are gone; returns the rows written.

    Mostly there are none, which a hash of both sides tells at half the cost.
    """
    columns, key = ", ".join(table.column_names), ", ".join(table.key)
    here = f"SELECT {columns} FROM main.{table.name}"
    there = f"SELECT {columns} FROM pub.main.{table.name} WHERE plant = {quoted(store.plant)}"
    if content_hash(store.con, f"({here})") == content_hash(store.con, f"({there})"):
        return 0
    match = " AND ".join(f"t.{k} = gone.{k}" for k in table.key)
    store.con.execute(f"DELETE FROM pub.main.{table.name} t USING ({there} EXCEPT {here}) gone WHERE {match}")
    return int(store.rows(f"INSERT INTO pub.main.{table.name} SELECT * FROM ({here} EXCEPT {there}) ORDER BY {key}")[0][0])


def _check_counts(store: Store) -> None:
    """Refuse to publish a table that has lost rows, or has some too many."""
    count = "SELECT '{0}', (SELECT count(*) FROM main.{0}), (SELECT count(*) FROM pub.main.{0} WHERE plant = $p)"
    for name, here, there in store.rows(" UNION ALL ".join(count.format(t.name) for t in published_tables()), {"p": store.plant}):
        if here != there:
            raise InternalError(f"published {name} has {there} rows of {store.plant}, the store {here}", remedy=_REMEDY)


def _check(store: Store, table: Table, spans: Spans | None) -> None:
    """Refuse to publish rows that are doubled, or whose ratios are not numerator over denominator, where rows were written.

    Columns that may not be null are so by the table's own constraint.
    """
    column = day_column(table)
    where = f"plant = {quoted(store.plant)}"
    if spans is not None and column is not None:
        touched = [_reach(column, *s) for s in spans]
        where += "".join([" AND (FALSE", *(f" OR {column} BETWEEN DATE '{a}' AND DATE '{b}'" for a, b in touched), ")"])
    key = ", ".join(table.key)
    doubled = store.rows(f"SELECT count(*) FROM (SELECT 1 FROM pub.main.{table.name} WHERE {where} GROUP BY {key} HAVING count(*) > 1)")[0][
        0
    ]
    if doubled:
        raise InternalError(f"published {table.name} would hold {doubled} keys more than once", remedy=_REMEDY)
    if "dose_active_kg_t" in table.column_names:
        wrong = store.rows(
            f"SELECT count(*) FROM pub.main.{table.name} WHERE {where} AND dose_active_kg_t IS NOT NULL AND NOT coalesce("
            f"abs(dose_active_kg_t * dry_solids_t - polymer_active_kg) <= {_RATIO_TOLERANCE} * polymer_active_kg, FALSE)"
        )[0][0]
        if wrong:
            raise InternalError(f"{wrong} rows of {table.name} have a dose that is not active polymer over dry solids", remedy=_REMEDY)


def swap(fresh: Path, final: Path) -> None:
    """Move the finished file into place in one step, on disk before it is seen, and readable only: a reader's slip changes nothing."""
    fresh.chmod(_READABLE)
    for path in (fresh, fresh.parent):
        handle = os.open(path, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)
    final.with_name(final.name + ".wal").unlink(missing_ok=True)  # of a reader that opened the file for writing
    fresh.replace(final)
