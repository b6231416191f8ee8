"""Polymer fed, dose and solution."""

from __future__ import annotations

from schemas.kpis.model import Kpi, count, ratio, total, whole, word

POLYMER = (
    total("polymer_active_kg", "kg", "active polymer fed in the minutes of dry_solids_t: the numerator of the dose",
        kpi=Kpi(11, "active polymer rate", "p", "q_n x density x active fraction, or q_s x w_s", gate="dose_reason"), us="polymer_lb_active"),
    total("polymer_neat_kg", "kg", "the same polymer as supplied", us="polymer_lb_neat"),
    total("polymer_neat_all_kg", "kg", "polymer as supplied in all minutes with a known meter", us="polymer_lb_neat_all"),
    ratio("polymer_rate_kg_h", "kg/h", "mean active polymer rate over dosed minutes: polymer_active_kg / dosed_minutes", kpi=11),
    ratio("dose_active_kg_t", "kg/t", "active polymer per tonne dry solids: polymer_active_kg / dry_solids_t",
        kpi=Kpi(12, "dose, active", "d", "sum of p / sum of S", gate="dose_reason"), us="dose_lb_active_per_dry_ton", rounding="three digits"),
    ratio("dose_neat_kg_t", "kg/t", "polymer as supplied per tonne dry solids: polymer_neat_kg / dry_solids_t",
        kpi=Kpi(13, "dose, neat", "d_n", "sum of p / active fraction / sum of S", gate="dose_reason"), us="dose_lb_neat_per_dry_ton"),
    ratio("dose_g_m3", "g/m3", "active polymer per volume of sludge: polymer_active_kg / dosed_feed_m3",
        kpi=Kpi(14, "dose per volume", "", "sum of p / sum of Q_f", gate="dose_reason"), us="dose_lb_per_kgal"),
    word("dose_reason", "text", "why no dose, rate or loading is reported; null when it is"),
    ratio("dose_variability_pct", "%", "robust SD (1.4826 MAD) of ln dose over quarter hours; days and shifts only",
        kpi=Kpi(21, "dose variability", "", "1.4826 x MAD of ln d over quarter hours", gate="dose_variability_reason", note="days and shifts; longer spans mix days, shorter ones have too few quarter hours")),
    whole("dose_quarters", "-", "quarter hours with 8 dosed minutes or more behind it", ge=0, kpi=21),
    word("dose_variability_reason", "text", "why no variability is reported; null when it is"),
    total("polymer_solution_m3", "m3", "polymer solution fed in dosed minutes where its flow is known: metered, else active / strength",
        kpi=Kpi(15, "polymer-to-feed flow ratio", "", "sum of q_s / sum of Q_f", gate="dose_reason", note="q_s as metered, else from active polymer and strength")),
    total("polymer_solution_feed_m3", "m3", "sludge fed in the minutes of polymer_solution_m3"),
    ratio("polymer_feed_ratio_pct", "%", "polymer-to-feed flow ratio: polymer_solution_m3 / polymer_solution_feed_m3", kpi=15),
    ratio("solution_strength_used_pct", "%", "active polymer by mass of polymer_solution_m3, flow-weighted (1 m3 of solution = 1 t)",
        kpi=Kpi(16, "solution strength", "w_s", "active polymer / solution, flow-weighted", note="of the plant file's strength where nothing measures it")),
    total("polymer_solution_all_m3", "m3", "polymer solution in all minutes in which its flow is known"),
    count("polymer_solution_all_minutes", "min", "minutes of polymer_solution_all_m3", nullable=False, ge=0),
    ratio("solution_age_h", "h", "mean residence in the solution tank: its volume / mean solution flow, all minutes; full tank assumed",
        kpi=Kpi(17, "solution age", "", "tank volume / mean q_s", gate="solution_age_reason", note="mean residence of a full, mixed tank")),
    word("solution_age_reason", "text", "why no solution age is reported; null when it is"),
    total("polymer_total_m3", "m3", "increments of the polymer totaliser in minutes that it and the dose meter cover wholly", kpi=2),
    total("polymer_total_flow_m3", "m3", "integral of the dose meter's flow over the same minutes"),
    ratio("polymer_closure", "-", "totaliser against integral: polymer_total_m3 / polymer_total_flow_m3", kpi=2),
    word("closure_reason", "text", "why a totaliser closure is not reported; null when both are"),
)  # fmt: skip
