"""The KPI catalogue as a published table: what each number of `schemas/kpis` is and where it stands."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="kpi_catalogue",
    description="Every KPI of the catalogue: its formula, the columns that hold it, or why no column does.",
    grain="KPI and column",
    key=("number", "column_name"),
    step="publish",
    source="trade textbooks, from memory; see schemas/kpis",
    columns=(
        Column("number", "int", "-", "number in the catalogue", nullable=False, ge=1),
        Column("kpi", "text", "-", "name", nullable=False),
        Column("symbol", "text", "-", "symbol of the trade; empty when there is none", nullable=False),
        Column("formula", "text", "-", "formula in words and symbols", nullable=False),
        Column("tables", "text", "-", "tables with the column; empty when none", nullable=False),
        Column("column_name", "text", "-", "column in SI units; empty when none", nullable=False),
        Column("column_us", "text", "-", "the same in the _us views; empty when none", nullable=False),
        Column("reason_column", "text", "-", "column that says why the value is null; empty when none is needed", nullable=False),
        Column("note", "text", "-", "why there is no column, or what to mind; empty when there is nothing to say", nullable=False),
        Column(
            "checked_against", "text", "-", "figure from outside this project that its computation reproduces, and the test", nullable=False
        ),
    ),
)
