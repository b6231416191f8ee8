"""Feed solids against hauled and lost solids, by week and month."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="solids_balance",
    description="Solids fed against solids hauled with the cake and lost with the filtrate.",
    grain="plant, line (or all lines), kind of period and period",
    key=("plant", "line", "kind", "period_start_day"),
    step="compute",
    source="mass balance; limits and the coverage gate common practice, no source",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id, or 'all lines'", nullable=False),
        Column("kind", "text", "-", "week or month", nullable=False, isin=("week", "month")),
        Column("period_start_day", "date", "-", "first operating day of the period", nullable=False),
        Column("period_end_day", "date", "-", "last operating day of the period", nullable=False),
        Column("is_whole", "bool", "-", "true when the data reach over all days of the period", nullable=False),
        Column("feed_solids_t", "double", "t", "dry solids fed in all running minutes; volume without a feed TS counts at the mean of the rest"),
        Column("feed_coverage", "double", "-", "share of the feed volume that was metered and has a feed TS", ge=0, le=1),
        Column("tickets", "int", "-", "truck tickets", nullable=False, ge=0),
        Column("ticket_days", "int", "day", "operating days with a ticket", nullable=False, ge=0),
        Column("feeding_days", "int", "day", "operating days with sludge fed", nullable=False, ge=0),
        Column("cake_wet_t", "double", "t", "wet cake of the tickets"),
        Column("hauled_ts_pct", "double", "%", "cake TS weighted by the wet mass of the same day's tickets"),
        Column("cake_coverage", "double", "-", "share of the wet cake with a cake TS of the same day", ge=0, le=1),
        Column("cake_solids_t", "double", "t", "dry solids hauled with the cake"),
        Column("filtrate_volume_m3", "double", "m3", "filtrate by water balance: feed and dilution water less the cake"),
        Column("filtrate_coverage", "double", "-", "share of the feed volume with filtrate TSS and dilution known", ge=0, le=1),
        Column("filtrate_solids_t", "double", "t", "dry solids lost with the filtrate"),
        Column("solids_closure", "double", "-", "(cake + filtrate solids) / feed solids; null with a reason when a part is missing"),
        Column("limit_low", "double", "-", "lower limit of closure: 0.90 a week, 0.95 a month", nullable=False),
        Column("limit_high", "double", "-", "upper limit of closure: 1.10 a week, 1.05 a month", nullable=False),
        Column("verdict", "text", "-", "within limits, below limits or above limits; null when refused",
               isin=("within limits", "below limits", "above limits")),
        Column("closure_reason", "text", "-", "why closure is refused"),
        Column("data_version", "text", "-", "hash of the inputs of the period", nullable=False),
    ),
)  # fmt: skip
