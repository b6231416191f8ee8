"""Every plant file a run has used, by content."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="plant_file_versions",
    description="Plant files used by runs, with full text, so that any number can be traced to its settings.",
    grain="plant and plant file content",
    key=("plant", "plant_file_id"),
    step="check",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("plant_file_id", "text", "-", "first 16 hex digits of the SHA-256 of the file", nullable=False),
        Column("first_used_utc", "instant", "-", "first run that used it", nullable=False),
        Column("toml", "text", "-", "the file itself", nullable=False),
        Column("reads_as", "text", "-", "digest of what it says of reading files; null for one of an earlier version of this code"),
        Column("use_no", "int", "-", "running number of the change to it: the highest is in use; null before there were numbers", ge=1),
    ),
)

# The row of the plant file in use, of the plant $plant. Not by time: runs may work as of a time before the last one.
NEWEST = "FROM plant_file_versions WHERE plant = $plant ORDER BY use_no DESC NULLS LAST, first_used_utc DESC, plant_file_id LIMIT 1"
IN_USE = f"SELECT plant_file_id {NEWEST}"
