"""Columns that the KPI tables of every period share. Totals first, ratios of totals after them.

Every ratio is null when its gate fails, and the matching reason column says why; numerator and
denominator stay. "Processing" is the running state; "valid" minutes are processing minutes in which
every meter the dose needs is covered for at least half the minute; "dosed" minutes are valid minutes
whose feed TS and polymer strength are known. "Lost" are minutes in which the pump ran and a missing meter hides
what the line did. What ends in `_all_...` counts every minute of the period,
whatever the running state. `schemas/catalogue.py` says which KPI stands in which columns.
"""

from __future__ import annotations

from schemas.model import Column

TIME = (
    Column("period_start_utc", "instant", "-", "start of the period", nullable=False),
    Column("period_end_utc", "instant", "-", "end of the period (exclusive)", nullable=False),
    Column(
        "arrangement", "text", "-", "arrangement of the processing minutes (without any: of all minutes); null: none declared, or several"
    ),
    Column(
        "arrangement_note",
        "text",
        "-",
        "mixed: and the arrangements, in transition, or partly in transition; null: one arrangement, or none declared",
    ),
    Column("minutes_seen", "int", "min", "minutes of the period that exist in the data", nullable=False, ge=0),
    Column("unknown_minutes", "int", "min", "minutes whose running state is unknown", nullable=False, ge=0),
    Column("processing_minutes", "int", "min", "minutes in state processing", nullable=False, ge=0),
    Column("lost_minutes", "int", "min", "minutes in which the pump ran and a missing meter hides the running state", nullable=False, ge=0),
    Column("valid_minutes", "int", "min", "processing minutes valid for the dose", nullable=False, ge=0),
    Column(
        "dosed_minutes", "int", "min", "valid minutes with known feed TS and polymer strength: those of dry_solids_t", nullable=False, ge=0
    ),
    Column(
        "unsplit_minutes", "int", "min", "processing minutes lost because the polymer meter is shared and not split", nullable=False, ge=0
    ),
    Column("run_h", "double", "h", "feed pump run hours: integral of the run state", ge=0),
    Column("running_h", "double", "h", "hours in state idle running, start-up or processing", ge=0),
    Column("processing_h", "double", "h", "hours in state processing", ge=0),
    Column("idle_h", "double", "h", "hours in state idle running", ge=0),
    Column("idle_share", "double", "-", "idle running share of running time: idle_h / running_h", ge=0, le=1),
    Column("utilisation_calendar_share", "double", "-", "processing share of calendar time: processing_minutes / minutes_seen", ge=0, le=1),
    Column("starts", "int", "-", "starts of the feed pump (off to on) in the period", ge=0),
    Column("stops", "int", "-", "stops of the feed pump (on to off) in the period", ge=0),
    Column("short_runs", "int", "-", "runs of the feed pump shorter than 10 minutes that ended in the period", ge=0),
    Column("starts_per_run_hour", "double", "1/h", "starts per pump run hour: starts / run_h", ge=0),
    Column("mean_run_h", "double", "h", "mean run length: run_h / stops; a run across the period's edge counts with its part inside", ge=0),
    Column("planned_h", "double", "h", "planned time of the plant file in the period with a known state", ge=0),
    Column("down_h", "double", "h", "planned time in which the line was stopped or shutting down", ge=0),
    Column("availability_share", "double", "-", "(planned_h - down_h) / planned_h", ge=0, le=1),
    Column("availability_reason", "text", "-", "why no availability is reported; null when it is"),
    Column(
        "dry_run_minutes",
        "int",
        "min",
        "minutes with the pump on and sludge flow below cut-off or suction pressure below its minimum",
        ge=0,
    ),
    Column("deadhead_minutes", "int", "min", "minutes with discharge pressure above its maximum and sludge flow below cut-off", ge=0),
    Column("exposure_reason", "text", "-", "why dry-run or deadhead minutes are not given; null when both are"),
)
SOLIDS = (
    Column("feed_volume_m3", "double", "m3", "sludge fed in valid minutes"),
    Column("feed_volume_all_m3", "double", "m3", "sludge fed in all running minutes with a covered meter"),
    Column("sludge_flow_m3_h", "double", "m3/h", "mean sludge flow over valid minutes"),
    Column("sludge_total_m3", "double", "m3", "increments of the sludge totaliser in minutes that it and the flow meter cover wholly"),
    Column("sludge_total_flow_m3", "double", "m3", "integral of the sludge flow over the same minutes"),
    Column("sludge_closure", "double", "-", "totaliser against integral: sludge_total_m3 / sludge_total_flow_m3"),
    Column("dosed_feed_m3", "double", "m3", "sludge fed in the minutes of dry_solids_t"),
    Column("dry_solids_t", "double", "t", "dry solids fed in valid minutes with a known feed TS: the denominator of the dose"),
    Column("feed_ts_pct", "double", "%", "feed total solids, flow-weighted over the same minutes"),
    Column("feed_ts_age_h", "double", "h", "dry-solids-weighted age of the feed TS used"),
    Column("dry_solids_held_t", "double", "t", "of dry_solids_t, with a TS not sampled on the same operating day"),
    Column("dry_solids_sampled_t", "double", "t", "of dry_solids_t, with a TS sampled at most 24 h away"),
    Column("solids_rate_kg_h", "double", "kg/h", "mean dry solids rate over dosed minutes: dry_solids_t / dosed_minutes"),
    Column("throughput_t_h", "double", "t/h", "dry solids per processing hour: dry_solids_t / processing_h"),
    Column("hydraulic_loading_m3_h_per_m", "double", "m3/h/m", "sludge flow per metre of belt, valid minutes; belts only"),
    Column("hydraulic_loading_m3_h_per_unit", "double", "m3/h", "sludge flow per unit, valid minutes; units without a belt only"),
    Column("solids_loading_kg_h_per_m", "double", "kg/h/m", "dry solids rate per metre of belt; belts only"),
    Column("solids_loading_kg_h_per_unit", "double", "kg/h", "dry solids rate per unit; units without a belt only"),
    Column("loading_reason", "text", "-", "why no solids loading is reported; null when it is"),
    Column("vs_pct", "double", "% of TS", "volatile share of the feed solids, weighted by the TS of its samples, over days by dry solids"),
    Column("vs_samples", "int", "-", "feed VS samples used", nullable=False, ge=0),
)
POLYMER = (
    Column("polymer_active_kg", "double", "kg", "active polymer fed in the minutes of dry_solids_t: the numerator of the dose"),
    Column("polymer_neat_kg", "double", "kg", "the same polymer as supplied"),
    Column("polymer_neat_all_kg", "double", "kg", "polymer as supplied in all minutes with a known meter"),
    Column("polymer_rate_kg_h", "double", "kg/h", "mean active polymer rate over dosed minutes: polymer_active_kg / dosed_minutes"),
    Column("dose_active_kg_t", "double", "kg/t", "active polymer per tonne dry solids: polymer_active_kg / dry_solids_t"),
    Column("dose_neat_kg_t", "double", "kg/t", "polymer as supplied per tonne dry solids: polymer_neat_kg / dry_solids_t"),
    Column("dose_g_m3", "double", "g/m3", "active polymer per volume of sludge: polymer_active_kg / dosed_feed_m3"),
    Column("dose_reason", "text", "-", "why no dose, rate or loading is reported; null when it is"),
    Column("dose_variability_pct", "double", "%", "robust SD (1.4826 MAD) of ln dose over quarter hours; days and shifts only"),
    Column("dose_quarters", "int", "-", "quarter hours with 8 dosed minutes or more behind it", ge=0),
    Column("dose_variability_reason", "text", "-", "why no variability is reported; null when it is"),
    Column(
        "polymer_solution_m3",
        "double",
        "m3",
        "polymer solution fed in dosed minutes where its flow is known: metered, else active / strength",
    ),
    Column("polymer_solution_feed_m3", "double", "m3", "sludge fed in the minutes of polymer_solution_m3"),
    Column("polymer_feed_ratio_pct", "double", "%", "polymer-to-feed flow ratio: polymer_solution_m3 / polymer_solution_feed_m3"),
    Column(
        "solution_strength_used_pct", "double", "%", "active polymer by mass of polymer_solution_m3, flow-weighted (1 m3 of solution = 1 t)"
    ),
    Column("polymer_solution_all_m3", "double", "m3", "polymer solution in all minutes in which its flow is known"),
    Column("polymer_solution_all_minutes", "int", "min", "minutes of polymer_solution_all_m3", nullable=False, ge=0),
    Column(
        "solution_age_h",
        "double",
        "h",
        "mean residence in the solution tank: its volume / mean solution flow, all minutes; full tank assumed",
    ),
    Column("solution_age_reason", "text", "-", "why no solution age is reported; null when it is"),
    Column("polymer_total_m3", "double", "m3", "increments of the polymer totaliser in minutes that it and the dose meter cover wholly"),
    Column("polymer_total_flow_m3", "double", "m3", "integral of the dose meter's flow over the same minutes"),
    Column("polymer_closure", "double", "-", "totaliser against integral: polymer_total_m3 / polymer_total_flow_m3"),
    Column("closure_reason", "text", "-", "why a totaliser closure is not reported; null when both are"),
)
PRODUCT = (
    Column("cake_ts_pct", "double", "%", "mean cake total solids of the samples used"),
    Column("cake_samples", "int", "-", "cake samples used", nullable=False, ge=0),
    Column("filtrate_tss_mg_l", "double", "mg/L", "mean filtrate suspended solids of the samples used"),
    Column("filtrate_samples", "int", "-", "filtrate samples used", nullable=False, ge=0),
    Column("feed_samples", "int", "-", "feed TS samples used", nullable=False, ge=0),
    Column("cst_s", "double", "s", "mean capillary suction time of the conditioned feed; the method stands with the samples"),
    Column("cst_samples", "int", "-", "capillary suction times used", nullable=False, ge=0),
    Column("dilution_ratio", "double", "-", "water that dilutes the filtrate per sludge volume, as the plant file counts it"),
    Column("capture_undiluted_pct", "double", "%", "solids capture if the filtrate sample were undiluted"),
    Column("capture_pct", "double", "%", "solids capture with the dilution ratio"),
    Column("capture_reason", "text", "-", "why no capture, recycle load or cake mass is reported; null when it is"),
    Column("recycle_solids_kg", "double", "kg", "dry solids of dry_solids_t that return with the filtrate: dry_solids_t x (1 - capture)"),
    Column("cake_wet_t", "double", "t", "wet cake of dry_solids_t: dry_solids_t x capture / cake TS"),
)
HYDRAULICS = (
    Column("pump_dp_kpa", "double", "kPa", "mean pump differential pressure, gauge elevation added, processing minutes"),
    Column("pump_head_m", "double", "m", "mean total head over the same minutes"),
    Column("pump_dp_minutes", "int", "min", "processing minutes with both pump pressures", nullable=False, ge=0),
    Column("mixing_dp_kpa", "double", "kPa", "mean pressure drop across the mixing point, gauge elevation corrected, processing minutes"),
    Column("mixing_dp_ref_kpa", "double", "kPa", "mixing pressure drop at the reference flow; null over several arrangements"),
    Column("mixing_dp_ref_method", "text", "-", "fit (dP = b0 + k Q2), or scaled ((Qref/Q)2 per minute)", isin=("fit", "scaled")),
    Column("mixing_dp_minutes", "int", "min", "processing minutes with both mixing pressures and flow", nullable=False, ge=0),
    Column("mixing_feed_m3", "double", "m3", "sludge fed in those minutes"),
    Column("mixing_work_kj_m3", "double", "kJ/m3", "specific mixing energy: sum of dP x volume / mixing_feed_m3 (1 kPa = 1 kJ/m3)"),
    Column("mixing_volume_l", "double", "L", "mixing volume assumed for G and Gt, from the plant file"),
    Column("sludge_viscosity_mpa_s", "double", "mPa s", "sludge viscosity assumed for G and Gt, from the plant file"),
    Column("mixing_g_1_s", "double", "1/s", "nominal velocity gradient G of mixing_work_kj_m3 at the mean flow"),
    Column("mixing_gt", "double", "-", "nominal Gt of mixing_work_kj_m3 at the mean flow"),
    Column("mixing_reason", "text", "-", "why no G and Gt are reported; null when they are"),
    Column(
        "pump_electric_kwh", "double", "kWh", "pump electrical energy in processing minutes with flow, both pump pressures and pump power"
    ),
    Column("pump_hydraulic_kwh", "double", "kWh", "flow x pump differential pressure over the same minutes"),
    Column("pump_head_kwh", "double", "kWh", "flow x total head over the same minutes"),
    Column("wire_to_water_pct", "double", "%", "wire-to-water efficiency: pump_hydraulic_kwh / pump_electric_kwh"),
    Column(
        "drive_efficiency", "double", "-", "motor and drive efficiency assumed for pump_efficiency_pct, from the plant file", ge=0, le=1
    ),
    Column("pump_efficiency_pct", "double", "%", "pump efficiency: pump_head_kwh / (pump_electric_kwh x drive_efficiency)"),
    Column("pump_efficiency_reason", "text", "-", "why no wire-to-water or pump efficiency is reported; null when both are"),
    Column("suction_minutes", "int", "min", "processing minutes with a suction pressure", nullable=False, ge=0),
    Column("suction_margin_kpa", "double", "kPa", "mean suction pressure above its minimum of the plant file, processing minutes"),
    Column("suction_margin_lowest_kpa", "double", "kPa", "lowest minute of it"),
    Column("suction_margin_reason", "text", "-", "why no suction margin is reported; null when it is"),
    Column("seal_water_m3", "double", "m3", "seal water in minutes with the pump on and the seal meter covered"),
    Column("seal_water_minutes", "int", "min", "those minutes", nullable=False, ge=0),
    Column("seal_water_m3_h", "double", "m3/h", "seal water per pump run hour: seal_water_m3 / seal_water_minutes"),
)
COST = (
    Column(
        "energy_kwh", "double", "kWh", "feed pump and device energy in those minutes of dry_solids_t in which every metered drive is known"
    ),
    Column("energy_solids_t", "double", "t", "dry solids of the minutes of energy_kwh; null: no drive is metered"),
    Column("energy_kwh_t", "double", "kWh/t", "energy per tonne dry solids: energy_kwh / energy_solids_t, all metered drives"),
    Column("energy_reason", "text", "-", "why no energy or power cost per tonne is reported; null when it is"),
    Column("wash_water_m3", "double", "m3", "wash water in the minutes of dry_solids_t"),
    Column(
        "wash_water_m3_t",
        "double",
        "m3/t",
        "wash water per tonne dry solids while processing, over the minutes whose wash meter is covered",
    ),
    Column("polymer_water_m3", "double", "m3", "polymer solution and its post-dilution water in the minutes of dry_solids_t"),
    Column(
        "polymer_water_m3_t", "double", "m3/t", "polymer water per tonne dry solids while processing, over the minutes where it is known"
    ),
    Column("energy_all_kwh", "double", "kWh", "feed pump and device energy in all minutes"),
    Column("energy_all_kwh_t", "double", "kWh/t", "energy of all time per tonne dry solids: energy_all_kwh / dry_solids_t"),
    Column("wash_water_all_m3", "double", "m3", "wash water in all minutes"),
    Column("wash_water_all_m3_t", "double", "m3/t", "wash water of all time per tonne dry solids: wash_water_all_m3 / dry_solids_t"),
    Column("polymer_water_all_m3", "double", "m3", "polymer solution and its post-dilution water in all minutes"),
    Column(
        "polymer_water_all_m3_t", "double", "m3/t", "polymer water of all time per tonne dry solids: polymer_water_all_m3 / dry_solids_t"
    ),
    Column("all_time_reason", "text", "-", "why nothing of all time is given per tonne; null when it is"),
    Column("cost_polymer_per_t", "double", "currency/t", "polymer cost per tonne dry solids fed"),
    Column("cost_disposal_per_t", "double", "currency/t", "haul and disposal per tonne dry solids fed: capture / cake TS x price"),
    Column("cost_power_per_t", "double", "currency/t", "power per tonne dry solids fed"),
    Column("cost_water_per_t", "double", "currency/t", "wash and polymer water per tonne dry solids fed"),
    Column("cost_recycle_per_t", "double", "currency/t", "treating the solids lost with the filtrate, per tonne dry solids fed"),
    Column("cost_total_per_t", "double", "currency/t", "sum of the cost terms that have a price; null when polymer or disposal is unknown"),
    Column("cost_polymer_all", "double", "currency", "polymer of all time at the prices of its minutes"),
    Column("cost_power_all", "double", "currency", "energy of all time at the prices of its minutes"),
    Column("cost_water_all", "double", "currency", "wash and polymer water of all time at the prices of its minutes"),
    Column(
        "cost_total_all_per_t", "double", "currency/t", "cost_total_per_t with polymer, power and water of all time instead of processing"
    ),
)
TRUST = (
    Column("missed_share", "double", "-", "1 - valid minutes / (processing + lost minutes)", ge=0, le=1),
    Column(
        "lab_coverage_share",
        "double",
        "-",
        "dry solids with a feed TS sampled at most 24 h away: dry_solids_sampled_t / dry_solids_t",
        ge=0,
        le=1,
    ),
    Column("provisional_share", "double", "-", "dry solids with a held feed TS: dry_solids_held_t / dry_solids_t", ge=0, le=1),
    Column("is_provisional", "bool", "-", "true while a held feed TS or missing result can still change the row", nullable=False),
    Column("data_version", "text", "-", "hash of the loads and the plant file behind the row", nullable=False),
)
KPI = TIME + SOLIDS + POLYMER + PRODUCT + HYDRAULICS + COST + TRUST
