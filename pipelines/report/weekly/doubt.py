"""Doubted meters of a week and what that does to the numbers that rest on them. Pure.

A number that rests on a meter whose witness disagrees by d % is widened by d % of itself, added to its own interval; from
WITHHELD_FROM_PCT on, or when the witness gives no figure, it is withheld (rule of this project, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.report import language
from pipelines.report.language import Language
from pipelines.report.weekly.queries import Row

WITHHELD_FROM_PCT = 20.0
RESTS_ON: dict[str, tuple[str, ...]] = {
    "dose_active_kg_t": ("sludge_flow", "polymer_neat_flow", "polymer_solution_flow", "feed_solids", "makedown_water_flow"),
    "dry_solids_t": ("sludge_flow", "feed_solids"),
    "dry_solids_all_t": ("sludge_flow", "feed_solids"),
    "cost_total_per_t": ("sludge_flow", "polymer_neat_flow", "polymer_solution_flow", "feed_solids"),
    "mixing_dp_ref_kpa": ("sludge_flow", "mixing_upstream_pressure", "mixing_downstream_pressure"),
    "capture_pct": ("feed_solids",),
}


@dataclass(frozen=True)
class Doubt:
    """A meter that a witness contradicts in the week: its role, by how much [% of its reading, None without a figure], and the witness's words."""

    role: str
    deviation_pct: float | None
    reason: str

    def words(self, t: Language) -> str:
        """Return which witness disagrees: in English as the table has it, else by how much a witness differs."""
        if t.code == language.DEFAULT and self.reason:
            return self.reason.strip().rstrip(".")
        if self.deviation_pct is None:
            return t("dataline.witness_open")
        return t("dataline.witness", percent=t.numeral(f"{self.deviation_pct:+.0f}"))


def of_line(integrity: Sequence[Row]) -> tuple[Doubt, ...]:
    """Return the doubted meters of a line's week, worst first."""
    found = [Doubt(r["role"], r["deviation_pct"], r["reason"] or "") for r in integrity if r["verdict"] == "doubted"]
    return tuple(sorted(found, key=lambda d: (-abs(d.deviation_pct) if d.deviation_pct is not None else float("-inf"), d.role)))


def touching(kpi: str, doubts: Sequence[Doubt]) -> tuple[Doubt, ...]:
    """Return the doubts that touch a KPI."""
    return tuple(d for d in doubts if d.role in RESTS_ON.get(kpi, ()))


def is_withheld(doubts: Sequence[Doubt]) -> bool:
    """Return whether a number under these doubts is withheld."""
    return any(d.deviation_pct is None or abs(d.deviation_pct) >= WITHHELD_FROM_PCT for d in doubts)


def widened(value: float, half_width: float | None, doubts: Sequence[Doubt]) -> float | None:
    """Return the half width of a number under doubts: its own and the largest deviation of a witness, added."""
    if not doubts:
        return half_width
    return (half_width or 0.0) + abs(value) * max(abs(d.deviation_pct or 0.0) for d in doubts) / 100.0
