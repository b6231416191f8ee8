"""The small published file of all plants: views over what each plant published in Parquet, the dictionary, macros and views.

A plant's night leaves it alone unless it lacks the plant, was made by other definitions, or stands in another folder; so what a night
writes does not grow with the number of plants. The views name the folder `published` absolutely, since a relative path would be
looked for in the reader's working folder; a reader of a copy or of another mount names it with
`SET VARIABLE flocledger_published = '...'`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path

import duckdb

from pipelines.base import file_lock
from pipelines.base.errors import Notice
from pipelines.base.home import Home
from pipelines.publish import current, describe
from pipelines.publish.database import STORAGE_VERSION, published_tables, quoted, remove, swap
from pipelines.store import connect, faults
from schemas import TABLES, Table

FOLDER_VARIABLE = "flocledger_published"
NO_PLANT = "_"  # no plant id: its files have no rows, and all columns, so that a table without rows can be read
_PLANTS = TABLES["published_plants"]


@dataclass(frozen=True)
class _Found:
    """What a file of all plants says of itself."""

    is_of_these_definitions: bool = False
    folder: str = ""
    plants: dict[str, bool] = field(default_factory=dict)  # plant -> its files have all columns of today
    columns: dict[str, tuple[str, ...]] = field(default_factory=dict)  # table -> its columns, where the definitions are others


def refresh(home: Home, plant: str, notices: list[Notice], *, whole: bool = False) -> bool:
    """Make the file of all plants show a plant that has just published; return whether it had to be written.

    A damaged or lost file is made again; `notices` say so. `whole`: it is written in any case, whatever pages of it are damaged.
    """
    if not whole and _is_up_to_date(home, plant):
        return False
    with file_lock.waiting_for(home.publish_lock), current.usable(home.database, notices) as there:
        found = _Found() if there is None else _read_or_told(there, notices)
        lacks = whole or not (found.is_of_these_definitions and found.folder == str(home.published) and found.plants.get(plant))
        plants = _plants(home, found, plant) if lacks else found.plants
        if lacks:
            _write(home, plants)
        _keep_stamp(home, plants)
    return lacks


def _is_up_to_date(home: Home, plant: str) -> bool:
    """Return whether the file is as it was when it was last found to show the plant, by its stamp: opening it takes longer."""
    try:
        known = json.loads(_stamp(home).read_text(encoding="utf-8"))
        return plant in known["plants"] and known["state"] == _state(home)
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _keep_stamp(home: Home, plants: dict[str, bool]) -> None:
    fit = [plant for plant, is_of_today in plants.items() if is_of_today]
    partial = _stamp(home).with_suffix(".partial")
    partial.write_text(json.dumps({"state": _state(home), "plants": fit}), encoding="utf-8")
    partial.replace(_stamp(home))


def _stamp(home: Home) -> Path:
    return home.published / ".flocledger.stamp"


def _state(home: Home) -> list[str | int]:
    """Return what changes when the file, its folder or the definitions do."""
    found = home.database.stat()
    return [found.st_size, found.st_mtime_ns, str(home.published), describe.fingerprint()]


def _read_or_told(path: Path, notices: list[Notice]) -> _Found:
    """Read what a file of all plants says of itself; a damaged page counts as no file, and a notice says so."""
    try:
        return _read(path)
    except Exception as error:
        if not faults.is_damage(error):
            raise
        notices.append(current.damaged(path, error))
        return _Found()


def _read(path: Path) -> _Found:
    con = connect(path, read_only=True)
    try:
        tables = dict(con.execute("SELECT table_name, comment FROM duckdb_tables()").fetchall())
        if _PLANTS.name not in tables:  # of a version that kept all plants in one file
            return _Found(columns=_columns(con))
        rows = con.execute(f"SELECT plant, is_of_today, folder FROM {_PLANTS.name}").fetchall()
        is_of_these = describe.is_of_these_definitions(tables.get("dictionary"))
        return _Found(is_of_these, rows[0][2] if rows else "", {p: fits for p, fits, _ in rows}, {} if is_of_these else _columns(con))
    finally:
        con.close()


def _columns(con: duckdb.DuckDBPyConnection) -> dict[str, tuple[str, ...]]:
    sql = "SELECT table_name, list(column_name ORDER BY column_index) FROM duckdb_columns() WHERE NOT internal GROUP BY 1"
    return {name: tuple(listed) for name, listed in con.execute(sql).fetchall()}


def _plants(home: Home, found: _Found, plant: str) -> dict[str, bool]:
    """Return every plant that has published -> whether its files have all columns of these definitions."""
    same = found.is_of_these_definitions or all(found.columns.get(t.name) == t.column_names for t in published_tables())
    there = {folder.name.partition("=")[2] for folder in home.parquet.glob("loads/plant=*")} - {NO_PLANT}
    known = {one: same and found.plants.get(one, not found.plants) for one in there}
    return dict(sorted({**known, plant: True}.items()))


def _write(home: Home, plants: dict[str, bool]) -> None:
    """Write the file beside the current one and swap it in."""
    fresh = home.published / ".flocledger.next"
    remove(fresh)
    con = connect()
    try:
        con.execute(f"ATTACH {quoted(fresh)} AS pub (STORAGE_VERSION '{STORAGE_VERSION}')")
        con.execute("USE pub")
        for table in published_tables():
            _write_columns(con, home, table)
            con.execute(_view(home, table, all_fit=all(plants.values())))
        con.execute(_PLANTS.ddl())
        con.executemany(f"INSERT INTO {_PLANTS.name} VALUES (?, ?, ?)", [[p, fits, str(home.published)] for p, fits in plants.items()])
    except BaseException:
        con.close()
        remove(fresh)
        raise
    con.close()
    describe.write(fresh)
    swap(fresh, home.database)


def _write_columns(con: duckdb.DuckDBPyConnection, home: Home, table: Table) -> None:
    """Write the file without rows that tells the columns of a table, whatever the plants have published."""
    target = home.parquet / _below(table, NO_PLANT)
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_name("part.next")
    columns = ", ".join(f"NULL::{c.ddl().split()[1]} AS {c.name}" for c in table.columns)
    con.execute(f"COPY (SELECT {columns} WHERE false) TO {quoted(partial)} (FORMAT parquet)")
    partial.replace(target)


def _below(table: Table, plant: str) -> str:
    """Return the path of a table's files below the folder of Parquet files; `plant` and month may be patterns."""
    month = "" if table.parquet_by is None else f"/month={plant}"
    return f"{table.name}/plant={plant}{month}/part.parquet"


def _view(home: Home, table: Table, *, all_fit: bool) -> str:
    """Return the view of a table over the files of all plants; where some lack columns they are null."""
    files = f"coalesce(getvariable('{FOLDER_VARIABLE}'), {quoted(home.published)}) || '/parquet/{_below(table, '*')}'"
    union = "" if all_fit else ", union_by_name = true"
    columns = ", ".join(f"CAST({c.name} AS {c.ddl().split()[1]}) AS {c.name}" for c in table.columns)
    return f"CREATE VIEW {table.name} AS SELECT {columns} FROM read_parquet({files}, hive_partitioning = true, hive_types_autocast = false{union})"
