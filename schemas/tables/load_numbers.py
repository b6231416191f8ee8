"""The numbers under which the store keeps loads."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="load_numbers",
    description="Number of each load with readings in this store, given in the order of first use.",
    grain="load",
    key=("load_no",),
    step="check",
    published=False,
    columns=(
        Column("load_no", "int", "-", "number of the load", nullable=False, ge=1),
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("load_id", "text", "-", "load: first 16 hex digits of the SHA-256 of the file", nullable=False),
    ),
)
