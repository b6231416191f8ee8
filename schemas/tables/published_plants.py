"""The plants of the small published file, and where their Parquet files are."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="published_plants",
    description="The plants whose Parquet files the views of the file of all plants read.",
    grain="plant",
    key=("plant",),
    step="publish",
    source="this project's publication",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column(
            "is_of_today", "bool", "-",
            "the plant's files have all columns of these definitions; false after an upgrade, until the plant's next nightly run", nullable=False,
        ),
        Column("folder", "text", "-", "folder `published` in which the views look, unless the variable flocledger_published names another", nullable=False),
    ),
)  # fmt: skip
