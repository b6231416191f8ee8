"""What was published of each operating day, version by version: a ledger, written once and never made anew."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.tables.kpi_day import TABLE as KPI_DAY

# The KPIs whose changes are told; each keeps the name, unit and meaning it has in kpi_day.
KPIS = (
    "dose_active_kg_t", "dose_active_kg_t_u", "dry_solids_t", "polymer_active_kg", "feed_ts_pct", "cake_ts_pct", "filtrate_tss_mg_l", "capture_pct",
    "mixing_dp_ref_kpa", "energy_kwh_t", "cost_total_per_t", "run_h",
)  # fmt: skip
CHANGES = ("first published", "provisional to final", "final to provisional", "revised", "withdrawn")
_BY_NAME = {c.name: c for c in KPI_DAY.columns}
TABLE = Table(
    name="kpi_day_history",
    description="Every published version of the KPIs of an operating day, with when and why it came. Not remade by a rebuild: carried over.",
    grain="plant, line, operating day and version",
    key=("plant", "line", "operating_day", "version"),
    step="publish",
    source="kpi_day at each publication",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("version", "int", "-", "1 when first published, then counted up", nullable=False, ge=1),
        Column("known_from_utc", "instant", "-", "from when this version was the published one; grows with version", nullable=False),
        Column("change", "text", "-", "first published, provisional to final, final to provisional, revised, or withdrawn", nullable=False, isin=CHANGES),
        Column("cause", "text", "-", "what came in since the version before, in words of a closed list, joined by commas"),
        Column("files", "text", "-", "files that came in since and speak of the day, up to five"),
        *(_BY_NAME[name] for name in KPIS),
        *(_BY_NAME[name] for name in ("minutes_seen", "processing_minutes")),
        _BY_NAME["is_provisional"],
        _BY_NAME["data_version"],
        Column("plant_file_id", "text", "-", "plant file in use", nullable=False),
        Column("known_through_seq", "int", "-", "last received_seq of the loads known then", nullable=False, ge=0),
    ),
)  # fmt: skip
