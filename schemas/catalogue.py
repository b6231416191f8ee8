"""The KPI catalogue: number, symbol, formula, and the columns of the kpi_* tables that hold it.

Numbers, symbols and formulas follow trade textbooks and operator training (from memory). A KPI without columns says why.
`tests/unit/test_catalogue.py` holds every column named here against the tables.
"""

from __future__ import annotations

from dataclasses import dataclass

ALL = ("kpi_hour", "kpi_shift", "kpi_day", "kpi_week", "kpi_rolling")


@dataclass(frozen=True)
class Kpi:
    """One KPI; `columns` stand in each of `tables`, `reason` says why they are null, `note` why there are none."""

    number: int
    name: str
    symbol: str
    formula: str
    columns: tuple[str, ...] = ()
    reason: str = ""
    note: str = ""
    tables: tuple[str, ...] = ALL


_DOSE, _ALL_TIME, _CAPTURE, _MIXING = "dose_reason", "all_time_reason", "capture_reason", "mixing_reason"
CATALOGUE: tuple[Kpi, ...] = (
    Kpi(1, "feed flow", "Q_f", "time-weighted mean over valid minutes", ("sludge_flow_m3_h",)),
    Kpi(2, "feed volume and totaliser closure", "V_f", "integral of Q_f; totaliser increments / integral over the same minutes",
        ("feed_volume_m3", "feed_volume_all_m3", "sludge_total_m3", "sludge_closure", "polymer_total_m3", "polymer_closure"),
        "closure_reason"),
    Kpi(3, "feed total solids", "TS_f", "flow-weighted over the minutes of the dose", ("feed_ts_pct", "feed_ts_age_h")),
    Kpi(4, "volatile fraction", "VS_f", "sum of VS x TS of the samples / sum of their TS; days weighted by dry solids", ("vs_pct",
        "vs_samples")),
    Kpi(5, "dry solids rate", "S", "Q_f x SG x TS_f over dosed minutes", ("solids_rate_kg_h",), _DOSE),
    Kpi(6, "dry solids processed", "M", "integral of S", ("dry_solids_t",), _DOSE),
    Kpi(7, "hydraulic loading", "HL", "Q_f / belt width; Q_f per unit without a belt",
        ("hydraulic_loading_m3_h_per_m", "hydraulic_loading_m3_h_per_unit"), "loading_reason"),
    Kpi(8, "solids loading", "SL", "S / belt width; S per unit without a belt", ("solids_loading_kg_h_per_m",
        "solids_loading_kg_h_per_unit"),
        "loading_reason"),
    Kpi(9, "throughput", "T", "M / processing hours", ("throughput_t_h",), _DOSE),
    Kpi(10, "solids balance closure", "B", "(cake + filtrate solids) / feed solids", ("solids_closure", "feed_solids_t", "cake_solids_t", "filtrate_solids_t",),
        "closure_reason", "week and month, by truck tickets", ("solids_balance",)),
    Kpi(11, "active polymer rate", "p", "q_n x density x active fraction, or q_s x w_s", ("polymer_rate_kg_h", "polymer_active_kg"), _DOSE),
    Kpi(12, "dose, active", "d", "sum of p / sum of S", ("dose_active_kg_t",), _DOSE),
    Kpi(13, "dose, neat", "d_n", "sum of p / active fraction / sum of S", ("dose_neat_kg_t",), _DOSE),
    Kpi(14, "dose per volume", "", "sum of p / sum of Q_f", ("dose_g_m3",), _DOSE),
    Kpi(15, "polymer-to-feed flow ratio", "", "sum of q_s / sum of Q_f", ("polymer_feed_ratio_pct", "polymer_solution_m3"), _DOSE,
        "q_s as metered, else from active polymer and strength"),
    Kpi(16, "solution strength", "w_s", "active polymer / solution, flow-weighted", ("solution_strength_used_pct",),
        note="of the plant file's strength where nothing measures it"),
    Kpi(17, "solution age", "", "tank volume / mean q_s", ("solution_age_h",), "solution_age_reason",
        "mean residence of a full, mixed tank"),
    Kpi(18, "apparent activity index", "", "d_ref / d at equal cake and capture", ("activity_index", "dose_at_reference_cake_kg_t",),
        "activity_reason", "of a dose ladder against an earlier one", ("dose_curves",)),
    Kpi(19, "inventory closure", "", "metered use / (deliveries - stock change)", ("inventory_closure", "used_by_meter_kg", "used_by_stock_kg",),
        "closure_reason", "by month", ("polymer_inventory",)),
    Kpi(20, "overfeed margin", "", "d / d_opt - 1", ("overfeed_margin_pct", "optimum_dose_kg_t",),
        "optimum_reason", "of a dose ladder", ("dose_curves",)),
    Kpi(21, "dose variability", "", "1.4826 x MAD of ln d over quarter hours", ("dose_variability_pct", "dose_quarters"),
        "dose_variability_reason",
        "days and shifts; longer spans mix days, shorter ones have too few quarter hours"),
    Kpi(22, "cake total solids", "C", "mean of the samples; days weighted by dry solids", ("cake_ts_pct", "cake_samples")),
    Kpi(23, "filtrate suspended solids", "X", "mean of the samples; days weighted by dry solids", ("filtrate_tss_mg_l",
        "filtrate_samples")),
    Kpi(24, "solids capture", "R", "[1 - (X / TS_f)(1 + w)] / [1 - X / C]", ("capture_pct", "capture_undiluted_pct", "dilution_ratio"),
        _CAPTURE),
    Kpi(25, "recycle solids load", "", "M x (1 - R)", ("recycle_solids_kg",), _CAPTURE),
    Kpi(26, "cake wet mass", "", "M x R / C", ("cake_wet_t",), _CAPTURE),
    Kpi(27, "filtrate clarity index", "", "X / X of a baseline at equal TS_f", ("clarity_index", "baseline_tss_mg_l",),
        "clarity_reason", "against the days of a declared baseline period", ("clarity_index",)),
    Kpi(28, "capillary suction time", "CST", "mean of the samples", ("cst_s", "cst_samples")),
    Kpi(29, "pump differential pressure", "", "P_d - P_s + gauge elevation", ("pump_dp_kpa", "pump_dp_minutes")),
    Kpi(30, "total head", "H", "dP / (g SG) + dz + velocity heads", ("pump_head_m",)),
    Kpi(31, "mixing pressure drop", "dP", "P_1 - P_2 - gauge elevation", ("mixing_dp_kpa", "mixing_dp_minutes"),
        note="no plain-pipe friction taken off"),
    Kpi(32, "mixing pressure drop at reference flow", "", "fit dP = b0 + k Q2, else dP (Q_ref / Q)2", ("mixing_dp_ref_kpa",
        "mixing_dp_ref_method")),
    Kpi(33, "specific mixing energy", "e", "sum of dP x Q / sum of Q", ("mixing_work_kj_m3",)),
    Kpi(34, "velocity gradient", "G", "sqrt(P / (mu V))", ("mixing_g_1_s", "mixing_volume_l", "sludge_viscosity_mpa_s"), _MIXING,
        "nominal: mu and V assumed; prefer e"),
    Kpi(35, "Camp number", "Gt", "G x V / Q", ("mixing_gt",), _MIXING, "nominal, as G"),
    Kpi(36, "specific energy", "", "sum of W / M, pump and device", ("energy_kwh_t", "energy_solids_t", "energy_all_kwh_t"), "energy_reason"),
    Kpi(37, "wire-to-water efficiency", "", "sum of Q dP / sum of W", ("wire_to_water_pct", "pump_hydraulic_kwh", "pump_electric_kwh"),
        "pump_efficiency_reason"),
    Kpi(38, "pump efficiency", "eta_p", "sum of Q H SG g / (sum of W x drive efficiency)", ("pump_efficiency_pct", "pump_head_kwh",
        "drive_efficiency"),
        "pump_efficiency_reason", "drive efficiency assumed"),
    Kpi(39, "speed-normalised flow and head", "Q*, H*", "affinity laws", ("flow_at_reference_speed_m3_h", "head_at_reference_speed_m",),
        "", "by week", ("pump_condition",)),
    Kpi(40, "wear index, rotodynamic", "I_w", "H* / H_ref(Q*)", ("wear_index", "index_se", "index_u_systematic",),
        "index_reason", "by week, weekly median", ("pump_condition",)),
    Kpi(41, "slip, displacement pump", "", "D N - Q", ("slip_flow_m3_h", "slip_fraction",),
        "", "by week", ("pump_condition",)),
    Kpi(42, "slip index", "k", "Q_slip / f(dP) against commissioning", ("slip_index", "index_se", "index_u_systematic",),
        "index_reason", "by week, weekly median", ("pump_condition",)),
    Kpi(43, "suction margin", "", "P_s - its minimum", ("suction_margin_kpa", "suction_margin_lowest_kpa"), "suction_margin_reason"),
    Kpi(44, "system curve", "P_0, k", "fit P_d = P_0 + k Q2", ("system_p0_kpa", "system_k",),
        "system_reason", "by week", ("pump_condition",)),
    Kpi(45, "run hours and processing hours", "", "integral of state", ("run_h", "processing_h")),
    Kpi(46, "idle-running share", "", "idle running / running", ("idle_share", "idle_h", "running_h")),
    Kpi(47, "starts, starts per run hour, short runs", "", "count of off to on; / run hours; runs under 10 min",
        ("starts", "starts_per_run_hour", "short_runs")),
    Kpi(48, "availability", "", "(planned - down) / planned time", ("availability_share", "planned_h", "down_h"), "availability_reason",
        "down: planned and not running, whatever the cause"),
    Kpi(49, "utilisation", "", "processing / calendar time", ("utilisation_calendar_share",)),
    Kpi(50, "mean run length", "", "run hours / stops", ("mean_run_h", "stops")),
    Kpi(51, "run hours since service", "", "counter reset by the service log", ("run_since_service_h", "run_since_overhaul_h",),
        "", "reset by the service log only", ("pump_condition",)),
    Kpi(52, "dry-run exposure", "", "minutes on with Q_f below cut-off or P_s below its minimum", ("dry_run_minutes",), "exposure_reason"),
    Kpi(53, "deadhead exposure", "", "minutes with P_d above its maximum and Q_f below cut-off", ("deadhead_minutes",), "exposure_reason"),
    Kpi(54, "start-up loss", "", "minutes from feed-on to cake in band", ("startup_to_band_min",),
        "startup_reason", "needs timed cake samples within the start-up", ("startup_loss",)),
    Kpi(55, "wash water per dry ton", "", "integral of q_w / M", ("wash_water_m3_t", "wash_water_all_m3_t"), _ALL_TIME),
    Kpi(56, "polymer water per dry ton", "", "(solution + post-dilution) / M", ("polymer_water_m3_t", "polymer_water_all_m3_t"), _ALL_TIME),
    Kpi(57, "seal water", "", "integral while the pump is on; / run hours", ("seal_water_m3", "seal_water_m3_h")),
    Kpi(58, "cake haul", "", "wet mass by scale", ("cake_wet_t", "tickets",),
        "", "week and month", ("solids_balance",)),
    Kpi(59, "polymer cost", "", "d x price", ("cost_polymer_per_t", "cost_polymer_all")),
    Kpi(60, "haul and disposal cost", "", "R / C x price", ("cost_disposal_per_t",), _CAPTURE),
    Kpi(61, "energy, water and recycle cost", "", "kWh, m3 and kg x price",
        ("cost_power_per_t", "cost_water_per_t", "cost_recycle_per_t", "cost_power_all", "cost_water_all")),
    Kpi(62, "total cost per dry ton", "", "59 + 60 + 61", ("cost_total_per_t", "cost_total_all_per_t"), _ALL_TIME),
    Kpi(63, "saving against an adjusted baseline", "", "a comparison with an interval", note="a comparison, not a KPI of a period"),
    Kpi(64, "missed-data share", "", "1 - valid / (processing + lost) minutes", ("missed_share",)),
    Kpi(65, "lab coverage", "", "dry solids with a feed TS sampled at most 24 h away / all", ("lab_coverage_share",
        "dry_solids_sampled_t")),
    Kpi(66, "data-quality score", "", "the least of its terms", ("quality_score", "completeness", "lab_coverage", "validity", "closure_part", "timeliness",),
        "", "by line and operating day", ("data_quality_score",)),
    Kpi(67, "provisional share", "", "dry solids with a held feed TS / all", ("provisional_share", "dry_solids_held_t")),
)  # fmt: skip
