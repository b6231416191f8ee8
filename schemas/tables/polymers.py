"""Polymer products with effective dates, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="polymers",
    description="Polymer product, strength and price valid on each date, from the plant file.",
    grain="plant, line and effective date",
    key=("plant", "line", "from_utc"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("from_utc", "instant", "-", "valid from", nullable=False),
        Column("to_utc", "instant", "-", "valid until (exclusive); far future when open", nullable=False),
        Column("product", "text", "-", "product by function, no brand", nullable=False),
        Column("form", "text", "-", "emulsion, dry or solution", nullable=False, isin=("emulsion", "dry", "solution")),
        Column("density_kg_m3", "double", "kg/m3", "density as supplied; null: a dry product that is metered as solution", ge=300, le=2000),
        Column("active_fraction", "double", "-", "active polymer by mass of product as supplied", nullable=False, ge=0.01, le=1),
        Column("solution_strength_pct", "double", "%", "active polymer in the made-down solution by mass; null when unknown", ge=0, le=5),
        Column("price_per_kg_neat", "double", "currency/kg", "price per kg as supplied; null when unknown", ge=0),
    ),
)
