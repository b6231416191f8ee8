"""Columns that `kpi_day` alone has: the uncertainties of its numbers, and what the plant's register counted."""

from __future__ import annotations

from schemas.kpis.model import ratio, word
from schemas.kpis.uncertainty import UNCERTAINTY

DAY_ONLY = (
    *UNCERTAINTY,
    ratio("sludge_register_m3", "m3", "what the sludge totaliser counted from the beginning to the end of the day, holes of the data included: the plant's own day total", ge=0),
    word("sludge_register_reason", "text", "why sludge_register_m3 is null"),
)  # fmt: skip
