"""What a comparison has at hand and what it found so far."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import polars as pl

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
    checks: list[dict[str, Any]] = field(default_factory=list)

    def check(self, kind: str, name: str, note: str, **more: Any) -> None:
        """Add a row of comparison_checks."""
        row = {"kind": kind, "check_name": name, "note": note, "outcome": None, "estimate": None, "low": None, "high": None, "unit": "-"}
        self.checks.append(row | {"is_passed": None} | more)
