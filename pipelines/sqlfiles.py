"""Macros and views of `sql/` on a connection, each created after those it names."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines import packaged

if TYPE_CHECKING:
    import duckdb


def create_macros(con: duckdb.DuckDBPyConnection) -> None:
    """Create all macros."""
    for path in ordered(packaged.sql_files("macros")):
        con.execute(path.read_text(encoding="utf-8"))


def create_macros_and_views(con: duckdb.DuckDBPyConnection) -> None:
    """Create all macros and views; the tables the views read must exist."""
    create_macros(con)
    for path in ordered(packaged.sql_files("views")):
        con.execute(path.read_text(encoding="utf-8"))


def ordered(paths: list[Path]) -> list[Path]:
    """Return SQL files so that each comes after the files whose object it names."""
    text = {p.stem: p.read_text(encoding="utf-8") for p in paths}
    by_stem, done, out = {p.stem: p for p in paths}, set[str](), list[Path]()

    def visit(stem: str) -> None:
        if stem in done:
            return
        done.add(stem)
        body = "\n".join(line for line in text[stem].splitlines() if not line.startswith("--"))
        for other in sorted(set(re.findall(r"\w+", body)) & by_stem.keys() - {stem}):
            visit(other)
        out.append(by_stem[stem])

    for stem in sorted(by_stem):
        visit(stem)
    return out
