"""Columns of `kpi_day` that say how well its numbers are known: standard uncertainties (k = 1), in the unit of the number."""

from __future__ import annotations

from schemas.model import Column

UNCERTAINTY = (
    Column("feed_ts_pct_u", "double", "%", "standard uncertainty of feed_ts_pct: sampling, analysis, and the time between samples", ge=0),
    Column("dry_solids_t_u", "double", "t", "standard uncertainty of dry_solids_t: feed TS and sludge meter", ge=0),
    Column("polymer_active_kg_u", "double", "kg", "standard uncertainty of polymer_active_kg: polymer meter, active fraction or strength", ge=0),
    Column("dose_active_kg_t_u", "double", "kg/t", "standard uncertainty of dose_active_kg_t; about 95 % of doses lie within twice of it", ge=0),
    Column("dose_active_kg_t_u_random", "double", "kg/t", "of it, the part drawn anew each day: it shrinks over days", ge=0),
    Column("dose_active_kg_t_u_systematic", "double", "kg/t", "of it, the part that stays: meters and active fraction; it does not shrink", ge=0),
    Column("dose_active_kg_t_u_held", "double", "kg/t", "of the random part, what a feed TS held from another day brings; neighbouring days share it", ge=0),
    Column("cake_ts_pct_u", "double", "%", "standard uncertainty of cake_ts_pct: sampling and analysis of the samples used", ge=0),
    Column("filtrate_tss_mg_l_u", "double", "mg/L", "standard uncertainty of filtrate_tss_mg_l: sampling and analysis of the samples used", ge=0),
    Column("capture_pct_u", "double", "%", "standard uncertainty of capture_pct: feed TS, cake TS, filtrate TSS and dilution", ge=0),
    Column("mixing_dp_kpa_u", "double", "kPa", "standard uncertainty of mixing_dp_kpa: both gauges", ge=0),
    Column("mixing_dp_ref_kpa_u", "double", "kPa", "standard uncertainty of mixing_dp_ref_kpa: both gauges and the sludge meter", ge=0),
    Column("energy_kwh_t_u", "double", "kWh/t", "standard uncertainty of energy_kwh_t: power meters and dry solids", ge=0),
    Column("cost_total_per_t_u", "double", "currency/t", "standard uncertainty of cost_total_per_t; prices taken as exact", ge=0),
    Column("feed_ts_scatter_pct", "double", "%", "how much the feed TS wanders, of its mean: learned from 14 days, the plant file's, or the default", ge=0),
)  # fmt: skip
