"""What a comparison has at hand and what it found so far."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipelines.compare.designs import set_of
from pipelines.compare.evidence import Evidence
from pipelines.compare.ladder import Ladder
from pipelines.compare.plan import Loaded
from pipelines.store import Store


@dataclass
class Work:
    """What a comparison has at hand and what it found so far."""

    loaded: Loaded
    store: Store
    days: pl.DataFrame
    control: pl.DataFrame | None
    evidence: Evidence
    ladder: Ladder
    caps: tuple[str, ...]
    past: pl.DataFrame | None = None  # quiet days before the plan, of arm_from, for sham switches and the usual dose
    checks: list[dict[str, Any]] = field(default_factory=list)

    def check(self, kind: str, name: str, note: str, **more: Any) -> None:
        """Add a row of comparison_checks."""
        row = {"kind": kind, "check_name": name, "note": note, "outcome": None, "estimate": None, "low": None, "high": None, "unit": "-"}
        self.checks.append(row | {"is_passed": None} | more)

    def usual_dose_kg_t(self, arrangement: str) -> float | None:
        """Return the median dose of an arrangement's days outside every set [kg/t], before the plan's first day included; None: no such day."""
        own = self.days.filter(pl.col("arrangement") == arrangement, pl.col("dose_active_kg_t").is_not_null())
        planned = self.loaded.plan.sets
        outside = [set_of(planned, d) is None for d in own["operating_day"].to_list()]
        doses = own.filter(pl.Series(outside, dtype=pl.Boolean))["dose_active_kg_t"]
        if self.past is not None and arrangement == self.loaded.plan.plan.arm_from:
            doses = pl.concat([doses, self.past["dose_active_kg_t"].drop_nulls()])
        median = doses.median()
        return median if isinstance(median, float) else None
