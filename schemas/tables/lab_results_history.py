"""All revisions of lab results."""

from __future__ import annotations

from schemas.model import Table
from schemas.tables.lab_results import COLUMNS

TABLE = Table(
    name="lab_results_history",
    description="Every reported version of every lab result, the latest included.",
    grain="plant, sample, analyte and load",
    key=("plant", "sample_id", "analyte", "load_id"),
    step="check",
    columns=COLUMNS,
)
