"""KPIs by shift."""

from __future__ import annotations

from schemas.kpis.columns import KPI
from schemas.model import Column, Table

TABLE = Table(
    name="kpi_shift",
    description="KPIs of each shift of the plant file's roster.",
    grain="plant, line, operating day and shift",
    key=("plant", "line", "operating_day", "shift"),
    step="compute",
    source="formulas after trade textbooks, from memory; see the header of sql/tables/kpi_shift.sql",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("shift", "text", "-", "shift name", nullable=False),
        *KPI,
    ),
)
