"""KPIs by operating day."""

from __future__ import annotations

from schemas.kpis.columns import KPI
from schemas.kpis.day_only import DAY_ONLY
from schemas.model import Column, Table

TABLE = Table(
    name="kpi_day",
    description="KPIs of each operating day.",
    grain="plant, line and operating day",
    key=("plant", "line", "operating_day"),
    step="compute",
    source="formulas after trade textbooks, from memory; see the header of sql/tables/kpi_day.sql",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        *KPI,
        *DAY_ONLY,
    ),
)
