"""KPIs by reporting week."""

from __future__ import annotations

from schemas.kpis.columns import KPI
from schemas.model import Column, Table

TABLE = Table(
    name="kpi_week",
    description="KPIs of each reporting week: seven operating days from the plant's week start.",
    grain="plant, line and week",
    key=("plant", "line", "week_start_day"),
    step="compute",
    source="formulas after trade textbooks, from memory; see the header of sql/tables/kpi_week.sql",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("week_start_day", "date", "-", "first operating day of the reporting week", nullable=False),
        Column("iso_week", "text", "-", "ISO 8601 week of the Monday in the reporting week, as YYYY-Www", nullable=False),
        Column("operating_days", "int", "day", "operating days with at least one processing minute", nullable=False, ge=0),
        *KPI,
    ),
)
