"""The days and ladder steps behind each comparison, used or left out."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="comparison_days",
    description="Operating days or ladder steps behind each comparison, with arm, set, values used, and the rule that left a day out.",
    grain="plant, plan, version of the plan, line and start of the day or step",
    key=("plant", "plan", "plan_hash", "line", "start_utc"),
    step="compare",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("plan", "text", "-", "name of the plan file below plans/, without its ending", nullable=False),
        Column("plan_hash", "text", "-", "hash of the frozen plan; of a draft, of the plan as it was read, marked draft", nullable=False),
        Column("line", "text", "-", "line of the day; the control line's days stand beside the line's own", nullable=False),
        Column("start_utc", "instant", "-", "start of the day or step", nullable=False),
        Column("operating_day", "date", "-", "operating day", nullable=False),
        Column("part", "text", "-", "baseline, transition, trial or control", nullable=False),
        Column("arm", "text", "-", "arrangement in service; null: none or mixed"),
        Column("set_no", "int", "-", "pair or block of the plan the day belongs to; null: none", ge=1),
        Column("is_used", "bool", "-", "true when the day is behind the result", nullable=False),
        Column("left_out", "text", "-", "rule that left the day out; null when used"),
        Column("dose_active_kg_t", "double", "kg/t", "active polymer per tonne dry solids"),
        Column("polymer_active_kg", "double", "kg", "active polymer of the dose"),
        Column("dry_solids_t", "double", "t", "dry solids of the dose"),
        Column("feed_ts_pct", "double", "%", "feed total solids"),
        Column("cake_ts_pct", "double", "%", "cake total solids"),
        Column("capture_pct", "double", "%", "solids capture"),
        Column("filtrate_tss_mg_l", "double", "mg/L", "filtrate suspended solids"),
        Column("mixing_dp_ref_kpa", "double", "kPa", "mixing pressure drop at the reference flow"),
        Column("data_version", "text", "-", "hash of the inputs of the day, as in kpi_day or dose_steps", nullable=False),
    ),
)
