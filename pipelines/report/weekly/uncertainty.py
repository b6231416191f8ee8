"""How well a week's numbers are known: what stands behind the "±". Pure; standard uncertainties (k = 1) in stored units."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pipelines.report.weekly.queries import Row
from pipelines.report.weekly.rows import LineData

# KPIs whose weekly uncertainty is made of the days' own. Sampling and analysis of cake are drawn anew each day; of the others no parts are
# published, so that the days count as fully shared, which is the larger figure.
_DRAWN_ANEW = ("cake_ts_pct",)
_SHARED = ("capture_pct", "cost_total_per_t")
_EVENLY = ("mixing_dp_ref_kpa",)  # the week's figure is no total of solids: its days count alike


def of_week(kpi: str, data: LineData, in_week: Sequence[Row]) -> float | None:
    """Return the standard uncertainty of a week's number; None where it is not published."""
    for row in (data.this, data.this_known):
        published: float | None = (row or {}).get(f"{kpi}_u")
        if published is not None:
            return published
    if kpi == "dose_active_kg_t":
        return None
    if kpi in ("dry_solids_t", "dry_solids_all_t"):
        return _of_total(kpi, data, in_week)
    if kpi in _EVENLY:
        known = [d[f"{kpi}_u"] for d in in_week if d.get(f"{kpi}_u") is not None]
        return sum(known) / len(known) if known else None
    parts = [(d["dry_solids_t"], d[f"{kpi}_u"]) for d in in_week if d.get(f"{kpi}_u") is not None and d["dry_solids_t"]]
    total = float(sum(w for w, _ in parts))
    if not total:
        return None
    added: float = math.sqrt(sum((w * u) ** 2 for w, u in parts)) if kpi in _DRAWN_ANEW else sum(w * u for w, u in parts)
    return added / total


def _of_total(kpi: str, data: LineData, in_week: Sequence[Row]) -> float | None:
    """Return the uncertainty of the week's solids: its days' relative uncertainty, shared by all of them, on the printed total.

    A file without the uncertainty of all solids fed lends that of the solids in valid minutes.
    """
    of = next((k for k in (kpi, "dry_solids_t") if any(d.get(f"{k}_u") is not None for d in in_week)), kpi)
    parts = [(d[of], d[f"{of}_u"]) for d in in_week if d.get(f"{of}_u") is not None and d[of]]
    known, total = sum(w for w, _ in parts), (data.this or {}).get(kpi)
    return None if not known or total is None else float(sum(u for _, u in parts) / known * total)
