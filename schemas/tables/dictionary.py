"""The data dictionary itself."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="dictionary",
    description="Every column of every published table and view: type, unit, meaning, source.",
    grain="table and column",
    key=("table_name", "column_name"),
    step="publish",
    source="this project's schemas",
    columns=(
        Column("table_name", "text", "-", "table or view", nullable=False),
        Column("column_name", "text", "-", "column", nullable=False),
        Column("position", "int", "-", "place in the table, from 1", nullable=False, ge=1),
        Column("type", "text", "-", "DuckDB type", nullable=False),
        Column("unit", "text", "-", "unit, or - for none", nullable=False),
        Column("description", "text", "-", "meaning", nullable=False),
        Column("table_description", "text", "-", "what the table is for, its grain and source", nullable=False),
    ),
)
