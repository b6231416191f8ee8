"""The published DuckDB file: copied aside, updated, checked, swapped in."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from pathlib import Path

import duckdb

from pipelines.base.errors import InternalError
from pipelines.base.home import Home
from pipelines.publish import describe, parquet
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
    return [t for t in TABLES.values() if t.published and t.name not in (*ONLY_PARQUET, *describe.WRITTEN_HERE)]


def day_column(table: Table) -> str | None:
    """Return the column whose touched days say which rows to replace; None: the whole table is compared."""
    if table.step in ("check", "compare") or table.name in _ACROSS_DAYS:
        return None
    return next((c for c in ("operating_day", "week_start_day") if c in table.column_names), None)


def quoted(text: object) -> str:
    """Return a text as an SQL literal (paths may hold quotes)."""
    return "'" + str(text).replace("'", "''") + "'"


def build(
    home: Home, store: Store, spans: Spans | None, *, published: Path | None, anew: bool, before_swap: Callable[[], object]
) -> dict[str, int]:
    """Make the next published file from the current one (`published`) and the store's rows of the touched days (None: all); swap it in.

    `anew`: all tables are written to an empty, so packed, file; the rows of other plants come from the current file, else from Parquet. `before_swap` is called when the file is ready, and may refuse
    it by an error. Returns rows written per table.
    """
    fresh = home.published / ".flocledger.next"
    _remove(fresh)
    if not anew and published is not None:
        shutil.copyfile(published, fresh)
    try:
        others = _Others(home, published) if anew else None
        rows, is_described = _fill(store, fresh, spans, others)
        if not is_described:
            describe.write(fresh)
        before_swap()
        swap(fresh, home.database)
    except BaseException:
        _remove(fresh)
        raise
    return rows


def _remove(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.with_name(path.name + ".wal").unlink(missing_ok=True)


def _fill(store: Store, fresh: Path, spans: Spans | None, others: _Others | None) -> tuple[dict[str, int], bool]:
    """Put the rows into the file; returns rows written per table, and whether the file's words are of these definitions."""
    con = store.con
    _attach(con, fresh)
    try:
        if others is not None and others.published is not None:
            con.execute(f"ATTACH {quoted(others.published)} AS old (READ_ONLY)")
        kept, present = _columns(con, "old"), _columns(con, "pub")
        con.execute("BEGIN")  # one connection, and with a log: without one, commits of two at once lost rows (DuckDB 2.0.1)
        rows = {}
        for table in published_tables():
            if table.name not in present:
                con.execute(table.ddl("pub.main"))
            if others is not None:
                _keep_others(store, table, others, kept.get(table.name, ()))
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
        for name in ("pub", "old"):
            con.execute(f"DETACH DATABASE IF EXISTS {name}")
    return rows, is_described


def _attach(con: duckdb.DuckDBPyConnection, fresh: Path) -> None:
    try:
        con.execute(f"ATTACH {quoted(fresh)} AS pub (STORAGE_VERSION '{STORAGE_VERSION}')")
    except duckdb.InvalidInputException as error:  # a storage version cannot be lowered
        raise _other_version("file") from error


def _other_version(what: str) -> InternalError:
    return InternalError(
        f"the published {what} was made by another version of flocledger",
        remedy="move the published file away and run `flocledger rebuild` for every plant",
    )


def _roll_back(con: duckdb.DuckDBPyConnection) -> None:
    with contextlib.suppress(duckdb.TransactionException):  # it was committed before the check failed
        con.execute("ROLLBACK")


@dataclass(frozen=True)
class State:
    """What there is of a plant in the published file: its loads, and whether storage version and columns are today's."""

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


@dataclass(frozen=True)
class _Others:
    """Where the rows of the other plants are: in a published file, else (None) in the Parquet files of the home."""

    home: Home
    published: Path | None

    def files(self, table: Table, plant: str) -> list[str]:
        """Return the Parquet files of the other plants; a plant with a damaged one is left out, and publishes all its days next time."""
        folders = sorted(self.home.parquet.glob(f"{table.name}/plant=*"))
        plants = {f.name.partition("=")[2] for f in folders} - {plant}
        return [
            str(p) for one in sorted(plants) if one in self._whole
            for p in sorted(parquet.folder_of(self.home, table.name, one).rglob("*.parquet"))
        ]  # fmt: skip

    @cached_property
    def _whole(self) -> set[str]:
        plants = {f.name.partition("=")[2] for f in self.home.parquet.glob("*/plant=*")}
        return {plant for plant in plants if not parquet.damaged(self.home, plant)}


def _keep_others(store: Store, table: Table, others: _Others, found: tuple[str, ...]) -> None:
    """Carry the other plants' rows over into the packed file.

    Where another version made them, columns that are new stay empty, or the rows wait for that plant's next night when a
    new column must not be: its store is brought up to date then and publishes all its days.
    """
    source = f"old.main.{table.name}"
    if others.published is None:
        files = others.files(table, store.plant)
        source = f"read_parquet([{', '.join(map(quoted, files))}], hive_partitioning = false, union_by_name = true)"
        found = tuple(name for name, *_ in store.rows(f"DESCRIBE SELECT * FROM {source}")) if files else ()
    wanting = [c for c in table.columns if c.name not in found and not c.nullable]
    if found and not wanting:
        columns = ", ".join(c for c in table.column_names if c in found)
        order = f" ORDER BY {', '.join(table.key)}" if others.published is None else ""
        sql = f"INSERT INTO pub.main.{table.name} ({columns}) SELECT {columns} FROM {source} WHERE plant <> $p{order}"
        store.con.execute(sql, {"p": store.plant})


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
