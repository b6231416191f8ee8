"""KPIs by clock hour."""

from __future__ import annotations

from schemas.kpis.columns import KPI
from schemas.model import Column, Table

TABLE = Table(
    name="kpi_hour",
    description="KPIs of each clock hour (UTC hours).",
    grain="plant, line and hour",
    key=("plant", "line", "period_start_utc"),
    step="compute",
    source="formulas after trade textbooks, from memory; see the header of sql/tables/kpi_hour.sql",
    parquet_by="period_start_utc",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        *KPI,
    ),
)
