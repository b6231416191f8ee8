"""Metered polymer against deliveries and stock, by month."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="polymer_inventory",
    description="Polymer as supplied that the meters saw, against deliveries less the change of stock, between the stock readings nearest to the month's ends.",
    grain="plant and month",
    key=("plant", "month_start_day"),
    step="compute",
    source="mass balance; limits 0.95-1.05 and the coverage gate common practice, no source",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("month_start_day", "date", "-", "first day of the month", nullable=False),
        Column("opening_day", "date", "-", "operating day of the stock reading nearest to the month's first day, within 3 days"),
        Column("closing_day", "date", "-", "operating day of the stock reading nearest to the next month's first day, within 3 days"),
        Column("opening_stock_kg", "double", "kg", "stock as supplied at the opening reading"),
        Column("closing_stock_kg", "double", "kg", "stock as supplied at the closing reading"),
        Column("deliveries", "int", "-", "deliveries from the opening day to the day before the closing day", nullable=False, ge=0),
        Column("delivered_kg", "double", "kg", "mass of these deliveries"),
        Column("lots", "text", "-", "lots delivered, as the sheet names them"),
        Column("used_by_stock_kg", "double", "kg", "deliveries less the change of stock"),
        Column("used_by_meter_kg", "double", "kg", "polymer as supplied by the meters of all lines over the same days"),
        Column("meter_coverage", "double", "-", "share of running minutes with a known polymer meter", ge=0, le=1),
        Column("inventory_closure", "double", "-", "metered use / (deliveries - change of stock); null with a reason when a part is missing"),
        Column("verdict", "text", "-", "within limits, below limits or above limits; null when refused",
               isin=("within limits", "below limits", "above limits")),
        Column("closure_reason", "text", "-", "why closure is refused"),
        Column("data_version", "text", "-", "hash of the inputs of the month", nullable=False),
    ),
)  # fmt: skip
