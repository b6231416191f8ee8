"""Columns that the KPI tables of every period share. Totals first, ratios of totals after them.

Every ratio is null when its gate fails, and the matching reason column says why; numerator and
denominator stay. "Processing" is the running state; "valid" minutes are processing minutes in which
every meter the dose needs is covered for at least half the minute.
"""

from __future__ import annotations

from schemas.model import Column

TIME = (
    Column("period_start_utc", "instant", "-", "start of the period", nullable=False),
    Column("period_end_utc", "instant", "-", "end of the period (exclusive)", nullable=False),
    Column("minutes_seen", "int", "min", "minutes of the period that exist in the data", nullable=False, ge=0),
    Column("unknown_minutes", "int", "min", "minutes whose running state is unknown", nullable=False, ge=0),
    Column("processing_minutes", "int", "min", "minutes in state processing", nullable=False, ge=0),
    Column("valid_minutes", "int", "min", "processing minutes valid for the dose", nullable=False, ge=0),
    Column("run_h", "double", "h", "feed pump run hours: integral of the run state", ge=0),
    Column("processing_h", "double", "h", "hours in state processing", ge=0),
    Column("idle_h", "double", "h", "hours in state idle running", ge=0),
    Column("starts", "int", "-", "starts of the feed pump (off to on) in the period", ge=0),
)
SOLIDS = (
    Column("feed_volume_m3", "double", "m3", "sludge fed in valid minutes"),
    Column("feed_volume_all_m3", "double", "m3", "sludge fed in all running minutes with a covered meter"),
    Column("sludge_flow_m3_h", "double", "m3/h", "mean sludge flow over valid minutes"),
    Column("dry_solids_t", "double", "t", "dry solids fed in valid minutes with a known feed TS: the denominator of the dose"),
    Column("feed_ts_pct", "double", "%", "feed total solids, flow-weighted over the same minutes"),
    Column("feed_ts_age_h", "double", "h", "dry-solids-weighted age of the feed TS used"),
    Column("dry_solids_held_t", "double", "t", "of dry_solids_t, with a TS not sampled on the same operating day"),
)
POLYMER = (
    Column("polymer_active_kg", "double", "kg", "active polymer fed in the minutes of dry_solids_t: the numerator of the dose"),
    Column("polymer_neat_kg", "double", "kg", "the same polymer as supplied"),
    Column("dose_active_kg_t", "double", "kg/t", "active polymer per tonne dry solids: polymer_active_kg / dry_solids_t"),
    Column("dose_neat_kg_t", "double", "kg/t", "polymer as supplied per tonne dry solids: polymer_neat_kg / dry_solids_t"),
    Column("dose_reason", "text", "-", "why no dose is reported; null when it is"),
)
PRODUCT = (
    Column("cake_ts_pct", "double", "%", "mean cake total solids of the samples used"),
    Column("cake_samples", "int", "-", "cake samples used", nullable=False, ge=0),
    Column("filtrate_tss_mg_l", "double", "mg/L", "mean filtrate suspended solids of the samples used"),
    Column("filtrate_samples", "int", "-", "filtrate samples used", nullable=False, ge=0),
    Column("feed_samples", "int", "-", "feed TS samples used", nullable=False, ge=0),
    Column("dilution_ratio", "double", "-", "water that dilutes the filtrate per sludge volume, as the plant file counts it"),
    Column("capture_undiluted_pct", "double", "%", "solids capture if the filtrate sample were undiluted"),
    Column("capture_pct", "double", "%", "solids capture with the dilution ratio"),
    Column("capture_reason", "text", "-", "why no capture is reported; null when it is"),
)
HYDRAULICS = (
    Column("pump_dp_kpa", "double", "kPa", "mean pump differential pressure, gauge elevation added, processing minutes"),
    Column("pump_head_m", "double", "m", "mean total head over the same minutes"),
    Column("pump_dp_minutes", "int", "min", "processing minutes with both pump pressures", nullable=False, ge=0),
    Column("mixing_dp_kpa", "double", "kPa", "mean pressure drop across the mixing point, gauge elevation corrected, processing minutes"),
    Column("mixing_dp_ref_kpa", "double", "kPa", "mixing pressure drop at the reference flow"),
    Column("mixing_dp_ref_method", "text", "-", "fit (dP = b0 + k Q2), or scaled ((Qref/Q)2 per minute)", isin=("fit", "scaled")),
    Column("mixing_dp_minutes", "int", "min", "processing minutes with both mixing pressures and flow", nullable=False, ge=0),
)
COST = (
    Column("energy_kwh", "double", "kWh", "feed pump and device energy in the minutes of dry_solids_t"),
    Column("energy_kwh_t", "double", "kWh/t", "energy per tonne dry solids: energy_kwh / dry_solids_t, all metered drives"),
    Column("wash_water_m3", "double", "m3", "wash water in the minutes of dry_solids_t"),
    Column("cost_polymer_per_t", "double", "currency/t", "polymer cost per tonne dry solids fed"),
    Column("cost_disposal_per_t", "double", "currency/t", "haul and disposal per tonne dry solids fed: capture / cake TS x price"),
    Column("cost_power_per_t", "double", "currency/t", "power per tonne dry solids fed"),
    Column("cost_water_per_t", "double", "currency/t", "wash and polymer water per tonne dry solids fed"),
    Column("cost_recycle_per_t", "double", "currency/t", "treating the solids lost with the filtrate, per tonne dry solids fed"),
    Column("cost_total_per_t", "double", "currency/t", "sum of the cost terms that have a price; null when polymer or disposal is unknown"),
)
TRUST = (
    Column("missed_share", "double", "-", "1 - valid minutes / processing minutes", ge=0, le=1),
    Column("is_provisional", "bool", "-", "true while a held feed TS or missing result can still change the row", nullable=False),
    Column("data_version", "text", "-", "hash of the loads and the plant file behind the row", nullable=False),
)
KPI = TIME + SOLIDS + POLYMER + PRODUCT + HYDRAULICS + COST + TRUST
