"""Macros and views of `sql/` on a connection, each created after those it names."""

from __future__ import annotations

import graphlib
import hashlib
import re
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.base import resources

if TYPE_CHECKING:
    import duckdb


def create_macros(con: duckdb.DuckDBPyConnection) -> None:
    """Create all macros."""
    for path in ordered(resources.sql_files("macros")):
        con.execute(path.read_text(encoding="utf-8"))


def create_macros_once(con: duckdb.DuckDBPyConnection) -> None:
    """Create all macros unless they were created from the same text: creating them takes a tenth of the compute step."""
    if note_changed(con, "macros", "".join(path.read_text(encoding="utf-8") for path in resources.sql_files("macros"))):
        create_macros(con)


def note_changed(con: duckdb.DuckDBPyConnection, name: str, text: str) -> bool:
    """Record the text that `name` is built from; return whether it differs from the one recorded. Call it in the transaction that builds."""
    text_hash = hashlib.sha256(text.encode()).hexdigest()[:16]
    con.execute("CREATE TABLE IF NOT EXISTS built_from (name VARCHAR, text_hash VARCHAR)")
    if con.execute("SELECT text_hash FROM built_from WHERE name = $name", {"name": name}).fetchall() == [(text_hash,)]:
        return False
    con.execute("DELETE FROM built_from WHERE name = $name", {"name": name})
    con.execute("INSERT INTO built_from VALUES ($name, $text_hash)", {"name": name, "text_hash": text_hash})
    return True


def create_macros_and_views(con: duckdb.DuckDBPyConnection) -> None:
    """Create all macros and views; the tables the views read must exist."""
    create_macros(con)
    for path in ordered(resources.sql_files("views")):
        con.execute(path.read_text(encoding="utf-8"))


def ordered(paths: list[Path]) -> list[Path]:
    """Return SQL files so that each comes after the files whose object it names."""
    by_stem = {p.stem: p for p in paths}
    named = {stem: sorted(_names(by_stem[stem]) & by_stem.keys() - {stem}) for stem in sorted(by_stem)}
    return [by_stem[stem] for stem in graphlib.TopologicalSorter(named).static_order()]


def _names(path: Path) -> set[str]:
    """Return every word of a SQL file outside its header."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return set(re.findall(r"\w+", "\n".join(line for line in lines if not line.startswith("--"))))
