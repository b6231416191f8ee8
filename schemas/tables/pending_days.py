"""Operating days whose KPIs, flags or publication are behind."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="pending_days",
    description="Work list that survives a kill: days whose KPIs, flags or publication are behind the minutes, whose readings are not in Parquet yet, whose versions in the ledger are not published yet, or whose late data wait for a restatement by command.",
    grain="stage and operating day",
    key=("stage", "operating_day"),
    step="check",
    published=False,
    columns=(
        Column(
            "stage",
            "text",
            "-",
            "compute, watch, publish, readings, ledger or held",
            nullable=False,
            isin=("compute", "watch", "publish", "readings", "ledger", "held"),
        ),
        Column("operating_day", "date", "-", "operating day; of stage readings the UTC day", nullable=False),
    ),
)
