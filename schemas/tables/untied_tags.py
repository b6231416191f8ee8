"""Tags of files that the plant file ties to no signal, counted once a file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="untied_tags",
    description="Tags met in files that the plant file ties to no signal and no layout ignores; their values are not read.",
    grain="plant, load and tag",
    key=("plant", "load_id", "tag"),
    step="check",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("load_id", "text", "-", "first 16 hex digits of the SHA-256 of the file's bytes", nullable=False),
        Column("tag", "text", "-", "tag, or name of the column, as it stands in the file", nullable=False),
        Column("value_count", "bigint", "value", "its values in the file", nullable=False, ge=1),
        Column("first_line_no", "bigint", "-", "physical line of the first of them, from 1", nullable=False, ge=1),
    ),
)
