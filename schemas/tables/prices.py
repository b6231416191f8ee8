"""Prices with effective dates, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="prices",
    description="Prices valid on each date, from the plant file, in the plant's currency.",
    grain="plant and effective date",
    key=("plant", "from_utc"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("from_utc", "instant", "-", "valid from", nullable=False),
        Column("to_utc", "instant", "-", "valid until (exclusive); far future when open", nullable=False),
        Column("disposal_per_wet_t", "double", "currency/t", "haul and disposal per tonne of wet cake", ge=0),
        Column("power_per_kwh", "double", "currency/kWh", "electricity", ge=0),
        Column("water_per_m3", "double", "currency/m3", "wash and make-down water", ge=0),
        Column("recycle_per_kg", "double", "currency/kg", "treating solids that return with the filtrate", ge=0),
    ),
)
