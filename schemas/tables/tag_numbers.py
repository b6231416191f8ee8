"""The numbers under which the store keeps tags."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="tag_numbers",
    description="Number of each tag in this store, given in the order of first use.",
    grain="tag",
    key=("tag_no",),
    step="check",
    published=False,
    columns=(
        Column("tag_no", "int", "-", "number of the tag", nullable=False, ge=1),
        Column("tag", "text", "-", "the plant's name of the signal", nullable=False),
    ),
)
