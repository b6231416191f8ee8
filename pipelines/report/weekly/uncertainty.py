"""How well a week's numbers are known: what stands behind the "±" and when two weeks differ. Pure; values in stored units."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pipelines.report.weekly.read import LineData, Row

# KPIs whose weekly uncertainty is made of the days' own. Sampling and analysis of cake are drawn anew each day; of the others no parts are
# published, so that the days count as fully shared, which is the larger figure.
_DRAWN_ANEW = ("cake_ts_pct",)
_SHARED = ("capture_pct", "cost_total_per_t")
COVERAGE = 2.0  # k: about 95 % (JCGM 100:2008 6.2, from memory)


def of_week(kpi: str, data: LineData, in_week: Sequence[Row]) -> float | None:
    """Return the standard uncertainty of a week's number; None where it is not published."""
    if kpi == "dose_active_kg_t":
        published: float | None = (data.this_known or {}).get("dose_active_kg_t_u")
        return published
    if kpi not in (*_DRAWN_ANEW, *_SHARED):
        return None
    parts = [(d["dry_solids_t"], d[f"{kpi}_u"]) for d in in_week if d.get(f"{kpi}_u") is not None and d["dry_solids_t"]]
    total = float(sum(w for w, _ in parts))
    if not total:
        return None
    added: float = math.sqrt(sum((w * u) ** 2 for w, u in parts)) if kpi in _DRAWN_ANEW else sum(w * u for w, u in parts)
    return added / total


def dose_noise(known: Row | None, days: Sequence[Row]) -> float | None:
    """Return by how much a week's dose varies by itself [kg/t, k = 1]; None when nothing says.

    The larger of the random parts of its uncertainty and of the scatter of its days (sd / sqrt(n)), which holds those parts as well.
    Systematic parts are the same in both weeks and leave a difference alone.
    """
    doses = [d["dose_active_kg_t"] for d in days if d["dose_active_kg_t"] is not None]
    found = [(known or {}).get("dose_active_kg_t_u_random")]
    if len(doses) > 1:
        mean = sum(doses) / len(doses)
        found.append(math.sqrt(sum((x - mean) ** 2 for x in doses) / (len(doses) - 1) / len(doses)))
    return max((x for x in found if x is not None), default=None)


def differ(this: float, last: float, noise: tuple[float | None, float | None]) -> bool | None:
    """Return whether two weeks differ by more than twice their noise together; None when the noise of one is not known."""
    if noise[0] is None or noise[1] is None:
        return None
    return abs(this - last) > COVERAGE * math.hypot(*(x for x in noise if x is not None))
