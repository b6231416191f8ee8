"""Migrate a store of an earlier version when it is opened.

Derived tables whose columns changed are created anew and put on the work lists: the next run recomputes them from the
checked data. Tables of checked data are never dropped: new nullable columns are added; anything else needs
`flocledger rebuild`, which reads the archived originals.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from pipelines.base.errors import DataMissingError, InternalError
from schemas import TABLES, Table
from schemas.model import TYPES

if TYPE_CHECKING:
    import duckdb

SCHEMA_VERSION = 2  # 2: readings are kept with numbers for tag and load
DERIVED = ("align", "compute", "watch")  # steps whose tables can be made again from what `check` wrote


def upgrade(con: duckdb.DuckDBPyConnection, file_name: str) -> list[str]:
    """Migrate every table of the store to its schema; return the derived tables that were emptied.

    InternalError when the store is newer than this code, DataMissingError when only a rebuild can help.
    """
    con.execute("CREATE TABLE IF NOT EXISTS store_version (version INTEGER)")
    found = con.execute("SELECT max(version) FROM store_version").fetchall()[0][0]
    if found is not None and found > SCHEMA_VERSION:
        raise InternalError(f"{file_name} was written by a newer flocledger (store version {found})", remedy="upgrade flocledger")
    old = _columns(con)
    if is_of_today(con):
        return []
    con.execute("BEGIN")
    try:
        if found == 1:
            con.execute("ALTER TABLE readings RENAME TO readings_as_text")
        emptied = [t.name for t in TABLES.values() if t.view is None and t.name in old and not _fits(con, t, old[t.name], file_name)]
        for table in TABLES.values():
            con.execute(table.ddl())
        if found == 1:
            _pack(con)
        if emptied:
            _mark_all(con, emptied)
        con.execute("DELETE FROM store_version")
        con.execute("INSERT INTO store_version VALUES (?)", [SCHEMA_VERSION])
        con.execute("COMMIT")
    except BaseException:
        roll_back(con)
        raise
    return emptied


def roll_back(con: duckdb.DuckDBPyConnection) -> None:
    """End the open transaction without a change; one that a fault of the disk has already ended hides no cause."""
    import duckdb

    with suppress(duckdb.TransactionException, duckdb.FatalException):
        con.execute("ROLLBACK")


def is_of_today(con: duckdb.DuckDBPyConnection) -> bool:
    """Return whether a store has the tables of this version, so that nothing need be upgraded."""
    there = _columns(con)
    if "store_version" not in there or con.execute("SELECT max(version) FROM store_version").fetchall() != [(SCHEMA_VERSION,)]:
        return False
    return all(there.get(t.name) == _wanted(t) for t in TABLES.values() if t.view is None)


def _columns(con: duckdb.DuckDBPyConnection) -> dict[str, dict[str, str]]:
    """Return table -> column -> type of the store as found."""
    sql = (
        "SELECT table_name, column_name, data_type FROM duckdb_columns() WHERE NOT internal AND database_name = current_database() "
        "AND schema_name = 'main' ORDER BY table_name, column_index"
    )
    found: dict[str, dict[str, str]] = {}
    for table, column, kind in con.execute(sql).fetchall():
        found.setdefault(table, {})[column] = kind.replace("TIMESTAMP WITH TIME ZONE", "TIMESTAMPTZ")
    return found


def _wanted(table: Table) -> dict[str, str]:
    return {c.name: TYPES[c.type][0] for c in table.columns}


def _fits(con: duckdb.DuckDBPyConnection, table: Table, old: dict[str, str], file_name: str) -> bool:
    """Migrate one table; return False when it was dropped and must be recomputed."""
    wanted = _wanted(table)
    if old == wanted:
        return True
    if table.step in DERIVED:
        con.execute(f"DROP TABLE {table.name}")
        return False
    new = [c for c in table.columns if c.name not in old]
    if any(not c.nullable for c in new) or any(old[c] != wanted.get(c) for c in old):
        raise DataMissingError(
            f"{file_name}: the table {table.name} was made by an earlier flocledger and cannot be changed in place",
            remedy="run `flocledger rebuild` for the plant: it makes the store anew from the archived originals",
        )
    for column in new:
        con.execute(f"ALTER TABLE {table.name} ADD COLUMN {column.name} {TYPES[column.type][0]}")
    return True


def _pack(con: duckdb.DuckDBPyConnection) -> None:
    """Turn readings kept as text (store version 1) into packed ones, in the order they stood."""
    con.execute("INSERT INTO tag_numbers SELECT row_number() OVER (ORDER BY tag), tag FROM (SELECT DISTINCT tag FROM readings_as_text)")
    con.execute(
        "INSERT INTO load_numbers SELECT row_number() OVER (ORDER BY load_id), plant, load_id FROM (SELECT DISTINCT plant, load_id FROM readings_as_text)"
    )
    con.execute(
        "INSERT INTO packed_readings SELECT t.tag_no, r.time_utc, r.value, r.quality, l.load_no FROM readings_as_text r "
        "JOIN tag_numbers t USING (tag) JOIN load_numbers l USING (load_id)"
    )
    con.execute("DROP TABLE readings_as_text")


def _mark_all(con: duckdb.DuckDBPyConnection, emptied: list[str]) -> None:
    """Put every hour and day of the plant on the work lists; missing minutes are aligned anyway."""
    hours = (
        "INSERT INTO pending_hours SELECT h FROM (SELECT unnest(generate_series(date_trunc('hour', min(time_utc)), "
        "date_trunc('hour', max(time_utc)), INTERVAL 1 HOUR)) AS h FROM packed_readings) WHERE h NOT IN (SELECT hour_utc FROM pending_hours)"
    )
    if "minutes" in emptied:
        con.execute(hours)
        return
    for stage in ("compute", "watch", "publish"):
        con.execute(
            "INSERT INTO pending_days SELECT $s, operating_day FROM (SELECT DISTINCT operating_day FROM minutes) "
            "WHERE operating_day NOT IN (SELECT operating_day FROM pending_days WHERE stage = $s) ORDER BY 2",
            {"s": stage},
        )
