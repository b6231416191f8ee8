"""Documentation in the published file: dictionary, comments on every object; macros and views."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import duckdb
import polars as pl

from pipelines import __version__
from pipelines.base import resources
from pipelines.store import connect
from pipelines.store.sql_files import create_macros_and_views
from schemas import TABLES, Table
from schemas.detectors import DETECTORS
from schemas.kpis.catalogue import CATALOGUE
from schemas.kpis.outside_figures import checked_against
from schemas.views.registry import US, VIEWS

WRITTEN_HERE = ("dictionary", "kpi_catalogue", "detectors")  # tables of words, the same for every plant


def write(database: Path) -> None:
    """Create macros and views, comment on everything, and write the dictionary."""
    con = connect(database)
    try:
        con.execute("BEGIN")
        create_macros_and_views(con)
        _comments(con)
        _catalogue(con)
        _detectors(con)
        _dictionary(con)
        words = f"{_head(TABLES['dictionary'])} {_made_by()}"
        con.execute(f"COMMENT ON TABLE dictionary IS {_quoted(words)}")
        con.execute("COMMIT")
        con.execute("CHECKPOINT")
    finally:
        con.close()


def is_written(con: duckdb.DuckDBPyConnection, database: str) -> bool:
    """Return whether a database has words of these definitions already."""
    found = con.execute(
        "SELECT comment FROM duckdb_tables() WHERE table_name = 'dictionary' AND database_name = $d", {"d": database}
    ).fetchall()
    return bool(found) and is_of_these_definitions(found[0][0])


def is_of_these_definitions(comment: str | None) -> bool:
    """Return whether the comment on a dictionary says that it was written from these definitions."""
    return _made_by() in str(comment)


def _made_by() -> str:
    return f"Definitions: flocledger {__version__}, {fingerprint()}."


@cache
def fingerprint() -> str:
    """Return a hash of everything the words come from: SQL of macros and views, tables, views."""
    words = "".join(p.read_text(encoding="utf-8") for kind in ("macros", "views") for p in resources.sql_files(kind))
    words += "".join(repr(t) for t in [*TABLES.values(), *VIEWS.values(), *CATALOGUE, *DETECTORS.values()])
    return hashlib.sha256(words.encode()).hexdigest()[:12]


def _head(table: Table) -> str:
    return f"{table.description} Grain: one row per {table.grain}. Source: {table.source}."


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _comments(con: duckdb.DuckDBPyConnection) -> None:
    for name in WRITTEN_HERE:
        con.execute(TABLES[name].ddl())
    kinds = dict(
        con.execute("SELECT table_name, 'TABLE' FROM duckdb_tables() UNION ALL SELECT view_name, 'VIEW' FROM duckdb_views()").fetchall()
    )
    for table in TABLES.values():
        if table.name in kinds:  # in the file of all plants most are views
            for statement in table.comments(kind=kinds[table.name]):
                con.execute(statement)
    for view in VIEWS.values():
        for statement in view.comments(kind="VIEW"):
            con.execute(statement)
    for path in resources.sql_files("macros"):
        con.execute(f"COMMENT ON {_macro_kind(path)} {path.stem} IS {_quoted(_header(path))}")


def _macro_kind(path: Path) -> str:
    return "MACRO TABLE" if " AS TABLE" in path.read_text(encoding="utf-8") else "MACRO"


def _header(path: Path) -> str:
    """Return the comment lines at the head of a .sql file as one text."""
    lines = path.read_text(encoding="utf-8").splitlines()
    head = lines[: next((i for i, line in enumerate(lines) if not line.startswith("--")), len(lines))]
    return " ".join(line.removeprefix("--").strip() for line in head)


def _dictionary(con: duckdb.DuckDBPyConnection) -> None:
    """Write one row for every column of every published table and view."""
    sql = "SELECT table_name, column_name, data_type FROM duckdb_columns() WHERE NOT internal"
    types = {(name, column): kind for name, column, kind in con.execute(sql).fetchall()}
    rows = [
        (table.name, column.name, position, types[table.name, column.name], column.unit, column.description, _head(table))
        for table in [*TABLES.values(), *VIEWS.values()]
        for position, column in enumerate(table.columns, start=1)
        if (table.name, column.name) in types
    ]
    con.execute("DELETE FROM dictionary")
    con.register("incoming", pl.DataFrame(rows, schema=TABLES["dictionary"].polars_schema(), orient="row"))
    con.execute("INSERT INTO dictionary SELECT * FROM incoming ORDER BY table_name, position")
    con.unregister("incoming")


def _catalogue(con: duckdb.DuckDBPyConnection) -> None:
    """Write one row for every KPI of the catalogue and column that holds it; one without a column for the others."""
    rows = [
        (k.number, head.name, head.symbol, head.formula, ", ".join(k.tables) if column else "", column, US.get(column, (column,))[0], head.gate, head.note, checked_against(k.number))
        for k in CATALOGUE
        for head in (k.head,)
        for column in k.columns or ("",)
    ]  # fmt: skip
    con.execute("DELETE FROM kpi_catalogue")
    con.register("incoming", pl.DataFrame(rows, schema=TABLES["kpi_catalogue"].polars_schema(), orient="row"))
    con.execute("INSERT INTO kpi_catalogue SELECT * FROM incoming ORDER BY number")
    con.unregister("incoming")


def _detectors(con: duckdb.DuckDBPyConnection) -> None:
    """Write one row for every detector of the watch."""
    rows = [(d.name, d.number, d.severity, d.roles, d.method, d.causes, d.check, d.caution) for d in DETECTORS.values()]
    con.execute("DELETE FROM detectors")
    con.register("incoming", pl.DataFrame(rows, schema=TABLES["detectors"].polars_schema(), orient="row"))
    con.execute("INSERT INTO detectors SELECT * FROM incoming ORDER BY detector")
    con.unregister("incoming")
