"""Combine the statements of all witnesses of a meter into one verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from pipelines.watch.integrity.witnesses import Statement
from pipelines.watch.words import evidence

VOUCHES_WITHIN_PCT = 10.0  # [%] (rule of this project)
AGREES, DOUBTED, NOT_TESTABLE = "agrees", "doubted", "not testable"


@dataclass(frozen=True)
class Verdict:
    """One row of `meter_integrity` before plant and data version are added."""

    line: str
    role: str
    week_start_day: date
    statements: tuple[Statement, ...]
    against: tuple[Statement, ...]

    @property
    def verdict(self) -> str:
        if not self.statements:
            return NOT_TESTABLE
        return DOUBTED if self.against else AGREES

    @property
    def deviation_pct(self) -> float | None:
        """Return the largest deviation of those that speak against the meter, else of those that agree with it."""
        return max((t.deviation_pct for t in self.against or self.statements if self.against or not t.disagrees), key=abs, default=None)

    @property
    def reason(self) -> str | None:
        return "; ".join(f"{t.witness}: {t.says}" for t in self.against) or None

    def row(self, plant: str, data_version: str) -> dict[str, Any]:
        """Return the row of `meter_integrity`."""
        said = {f"{t.witness.replace(' ', '_')}_{what}": value for t in self.statements for what, value in _numbers(t).items()}
        return {
            "plant": plant, "line": self.line, "role": self.role, "week_start_day": self.week_start_day, "verdict": self.verdict,
            "witnesses": len(self.statements), "deviation_pct": self.deviation_pct, "reason": self.reason, "evidence": evidence(said),
            "data_version": data_version,
        }  # fmt: skip


def _numbers(t: Statement) -> dict[str, float]:
    return {"deviation_pct": t.deviation_pct, "low_pct": t.low_pct, "high_pct": t.high_pct}


def judged(line: str, role: str, week: date, statements: Sequence[Statement | None], *, spoken_for_by: Sequence[str] = ()) -> Verdict:
    """Return the verdict on a meter.

    An own witness that disagrees makes the meter doubted. A shared witness that disagrees (a balance, the reference flow) does
    so too, unless an independent own witness (one of `spoken_for_by`) lies close: then the fault lies with what else the shared
    witness rests on. What only knows the meter's own past vouches for nothing: a wrong unit is wrong from the first day.
    """
    heard = tuple(t for t in statements if t is not None)
    own = [t for t in heard if t.is_own and t.disagrees]
    vouched = not own and any(t.witness in spoken_for_by and abs(t.deviation_pct) <= VOUCHES_WITHIN_PCT for t in heard)
    shared = [] if vouched else [t for t in heard if not t.is_own and t.disagrees]
    return Verdict(line, role, week, heard, (*own, *shared))
