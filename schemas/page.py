"""The data dictionary as a page: every published table and view with its columns, from the same descriptions as the file itself."""

from __future__ import annotations

from pathlib import Path

from schemas import TABLES
from schemas.model import TYPES, Column, Table
from schemas.views.registry import VIEWS

PATH = Path(__file__).parent / "DICTIONARY.md"
_HEAD = """# Data dictionary

Written by `python -m schemas`; a test compares it with the descriptions. The published DuckDB file holds the same words as comments and in
the table `dictionary`. A column ending in `_u` is a standard uncertainty (k = 1) of the column it is named after. Times are UTC where the
name ends in `_utc`, else plant time. Null is "not known", never zero.

"""


def page() -> str:
    """Return the page as Markdown; ValueError names the first column without unit or description."""
    published = [t for t in TABLES.values() if t.published]
    views = list(VIEWS.values())
    contents = [f"- {kind}: {', '.join(f'[{t.name}](#{t.name})' for t in sorted(group, key=lambda t: t.name))}\n" for kind, group in (("Tables", published), ("Views", views))]  # fmt: skip
    return (
        _HEAD
        + "".join(contents)
        + "".join(_section(t) for t in [*sorted(published, key=lambda t: t.name), *sorted(views, key=lambda t: t.name)])
    )


def _section(table: Table) -> str:
    rows = "".join(_row(table, column) for column in table.columns)
    grain = f"One row a {table.grain}. Key: {', '.join(table.key)}. Step: {table.step}. Source: {table.source}."
    return (
        f"\n## {table.name}\n\n{_cell(table.description)} {_cell(grain)}\n\n| column | type | unit | meaning |\n|---|---|---|---|\n{rows}"
    )


def _row(table: Table, column: Column) -> str:
    for what, text in (("unit", column.unit), ("description", column.description)):
        if not text.strip():
            raise ValueError(f"{table.name}.{column.name} has no {what}")
    kind = TYPES[column.type][0] + ("" if column.nullable else " NOT NULL")
    return f"| {column.name} | {kind} | {_cell(column.unit)} | {_cell(column.description)}{_bounds(column)} |\n"


def _bounds(column: Column) -> str:
    bounds = [f"{sign} {value:g}" for sign, value in (("at least", column.ge), ("at most", column.le)) if value is not None]
    return f" ({', '.join(bounds)})" if bounds else ""


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ").replace("<", "&lt;")


def write() -> None:
    """Write the page beside this module."""
    PATH.write_text(page(), encoding="utf-8")
