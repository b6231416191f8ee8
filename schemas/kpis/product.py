"""Cake, filtrate and solids capture."""

from __future__ import annotations

from schemas.kpis.model import Kpi, count, ratio, word

PRODUCT = (
    ratio("cake_ts_pct", "%", "mean cake total solids of the samples used",
        kpi=Kpi(22, "cake total solids", "C", "mean of the samples; days weighted by dry solids"), rounding="one decimal"),
    count("cake_samples", "-", "cake samples used", nullable=False, ge=0, kpi=22),
    ratio("filtrate_tss_mg_l", "mg/L", "mean filtrate suspended solids of the samples used",
        kpi=Kpi(23, "filtrate suspended solids", "X", "mean of the samples; days weighted by dry solids")),
    count("filtrate_samples", "-", "filtrate samples used", nullable=False, ge=0, kpi=23),
    count("feed_samples", "-", "feed TS samples used", nullable=False, ge=0),
    ratio("cst_s", "s", "mean capillary suction time of the conditioned feed; the method stands with the samples",
        kpi=Kpi(28, "capillary suction time", "CST", "mean of the samples")),
    count("cst_samples", "-", "capillary suction times used", nullable=False, ge=0, kpi=28),
    ratio("dilution_ratio", "-", "water that dilutes the filtrate per sludge volume, as the plant file counts it",
        kpi=Kpi(24, "solids capture", "R", "[1 - (X / TS_f)(1 + w)] / [1 - X / C]", gate="capture_reason")),
    ratio("capture_undiluted_pct", "%", "solids capture if the filtrate sample were undiluted", kpi=24),
    ratio("capture_pct", "%", "solids capture with the dilution ratio", kpi=24, rounding="whole"),
    word("capture_reason", "text", "why no capture, recycle load or cake mass is reported; null when it is"),
    ratio("recycle_solids_kg", "kg", "dry solids of dry_solids_t that return with the filtrate: dry_solids_t x (1 - capture)",
        kpi=Kpi(25, "recycle solids load", "", "M x (1 - R)", gate="capture_reason")),
    ratio("cake_wet_t", "t", "wet cake of dry_solids_t: dry_solids_t x capture / cake TS",
        kpi=Kpi(26, "cake wet mass", "", "M x R / C", gate="capture_reason"), us="cake_wet_short_tons"),
)  # fmt: skip
