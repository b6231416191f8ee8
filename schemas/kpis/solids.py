"""Sludge and dry solids fed."""

from __future__ import annotations

from schemas.kpis.model import Kpi, count, ratio, total, word

SOLIDS = (
    total("feed_volume_m3", "m3", "sludge fed in valid minutes, start-up left out: volume behind the dose, not all that was fed",
        kpi=Kpi(2, "feed volume and totaliser closure", "V_f", "integral of Q_f; totaliser increments / integral over the same minutes", gate="closure_reason")),
    total("feed_volume_all_m3", "m3", "sludge fed in all running and lost minutes with a covered meter, start-up included: compare this with the plant's own total", kpi=2),
    total("feed_untested_m3", "m3", "of feed_volume_all_m3, sludge without a known feed TS: its solids are not in dry_solids_all_t"),
    total("feed_doubtful_m3", "m3", "sludge flow of minutes whose state is unknown and in which the pump is not known to run: fed, or none"),
    ratio("sludge_flow_m3_h", "m3/h", "mean sludge flow over valid minutes", kpi=Kpi(1, "feed flow", "Q_f", "time-weighted mean over valid minutes")),
    total("sludge_total_m3", "m3", "increments of the sludge totaliser in minutes that it and the flow meter cover wholly", kpi=2),
    total("sludge_total_flow_m3", "m3", "integral of the sludge flow over the same minutes"),
    ratio("sludge_closure", "-", "totaliser against integral: sludge_total_m3 / sludge_total_flow_m3", kpi=2),
    total("dosed_feed_m3", "m3", "sludge fed in the minutes of dry_solids_t"),
    total("dry_solids_t", "t", "dry solids fed in valid minutes with a known feed TS: the denominator of the dose",
        kpi=Kpi(6, "dry solids processed", "M", "integral of S", gate="dose_reason"), us="dry_short_tons", rounding="tons"),
    total("dry_solids_all_t", "t", "tons fed: dry solids of feed_volume_all_m3 where the feed TS is known, start-up and lost minutes included",
        kpi=6, us="dry_short_tons_all", rounding="tons"),
    ratio("feed_ts_pct", "%", "feed total solids, flow-weighted over the same minutes",
        kpi=Kpi(3, "feed total solids", "TS_f", "flow-weighted over the minutes of the dose")),
    ratio("feed_ts_age_h", "h", "dry-solids-weighted age of the feed TS used", kpi=3),
    total("dry_solids_held_t", "t", "of dry_solids_t, with a TS not sampled on the same operating day",
        kpi=Kpi(67, "provisional share", "", "dry solids with a held feed TS / all"), us="dry_short_tons_held"),
    total("dry_solids_sampled_t", "t", "of dry_solids_t, with a TS sampled at most 24 h away",
        kpi=Kpi(65, "lab coverage", "", "dry solids with a feed TS sampled at most 24 h away / all"), us="dry_short_tons_sampled"),
    ratio("solids_rate_kg_h", "kg/h", "mean dry solids rate over dosed minutes: dry_solids_t / dosed_minutes",
        kpi=Kpi(5, "dry solids rate", "S", "Q_f x SG x TS_f over dosed minutes", gate="dose_reason")),
    ratio("throughput_t_h", "t/h", "dry solids per processing hour: dry_solids_t / processing_h",
        kpi=Kpi(9, "throughput", "T", "M / processing hours", gate="dose_reason")),
    ratio("hydraulic_loading_m3_h_per_m", "m3/h/m", "sludge flow per metre of belt, valid minutes; belts only",
        kpi=Kpi(7, "hydraulic loading", "HL", "Q_f / belt width; Q_f per unit without a belt", gate="loading_reason"), us="hydraulic_loading_gpm_per_m"),
    ratio("hydraulic_loading_m3_h_per_unit", "m3/h", "sludge flow per unit, valid minutes; units without a belt only",
        kpi=7, us="hydraulic_loading_gpm_per_unit"),
    ratio("solids_loading_kg_h_per_m", "kg/h/m", "dry solids rate per metre of belt; belts only",
        kpi=Kpi(8, "solids loading", "SL", "S / belt width; S per unit without a belt", gate="loading_reason"), us="solids_loading_lb_h_per_m"),
    ratio("solids_loading_kg_h_per_unit", "kg/h", "dry solids rate per unit; units without a belt only", kpi=8, us="solids_loading_lb_h_per_unit"),
    word("loading_reason", "text", "why no solids loading is reported; null when it is"),
    ratio("vs_pct", "% of TS", "volatile share of the feed solids, weighted by the TS of its samples, over days by dry solids",
        kpi=Kpi(4, "volatile fraction", "VS_f", "sum of VS x TS of the samples / sum of their TS; days weighted by dry solids")),
    count("vs_samples", "-", "feed VS samples used", nullable=False, ge=0, kpi=4),
)  # fmt: skip
