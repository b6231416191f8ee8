"""KPIs over windows that end with each operating day."""

from __future__ import annotations

from schemas.kpis.columns import KPI
from schemas.model import Column, Table
from schemas.vocabulary import WINDOWS

TABLE = Table(
    name="kpi_rolling",
    description="KPIs over rolling windows that end at the last processing minute (hours) or the end (days) of each operating day.",
    grain="plant, line, operating day and window",
    key=("plant", "line", "operating_day", "window_name"),
    step="compute",
    parquet_by="operating_day",
    source="formulas after trade textbooks, from memory; see the header of sql/tables/kpi_rolling.sql",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column(
            "window_name",
            "text",
            "-",
            "1 h, 8 h, 24 h (clock hours to the day's last processing minute), 7 d, 28 d (operating days)",
            nullable=False,
            isin=WINDOWS,
        ),
        Column("operating_days", "int", "day", "operating days in the window with at least one processing minute", nullable=False, ge=0),
        *KPI,
    ),
)
