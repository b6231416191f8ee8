"""How far the numbers of a period can be trusted."""

from __future__ import annotations

from schemas.kpis.model import Kpi, ratio, word

TRUST = (
    ratio("missed_share", "-", "1 - valid minutes / (processing + lost minutes)",
        ge=0, le=1, kpi=Kpi(64, "missed-data share", "", "1 - valid / (processing + lost) minutes")),
    ratio("lab_coverage_share", "-", "dry solids with a feed TS sampled at most 24 h away: dry_solids_sampled_t / dry_solids_t", ge=0, le=1, kpi=65),
    ratio("provisional_share", "-", "dry solids with a held feed TS: dry_solids_held_t / dry_solids_t", ge=0, le=1, kpi=67),
    word("is_provisional", "bool", "true while a held feed TS or missing result can still change the row", nullable=False),
    word("data_version", "text", "hash of the loads and the plant file behind the row", nullable=False),
)  # fmt: skip
