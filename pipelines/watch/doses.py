"""Days whose dose is far from the usual dose of their arrangement: overdosing, and doses too low.

The usual dose is the median of the last 14 days of the arrangement that are not off themselves, so that a fault does not teach the
limit. Limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from pipelines.plant.watch_settings import DEFAULTS, Watch

USUAL_DAYS, USUAL_LEAST = 14, 5
LONGEST_DAYS = 10  # a dose that stays for so many days is the usual one (rule of this project)


@dataclass(frozen=True)
class DoseDay:
    """One day with a dose [kg/t]; `standing` stands for the arrangement (None: in transition), `is_test` for a declared dose ladder."""

    day: date
    dose_kg_t: float
    standing: object
    is_test: bool
    data_version: str


@dataclass(frozen=True)
class OffDays:
    """Days in a row whose dose is off on one side, with the usual dose before them [kg/t]."""

    days: tuple[DoseDay, ...]
    usual_kg_t: float

    @property
    def ratio(self) -> float:
        return median(d.dose_kg_t for d in self.days) / self.usual_kg_t


def off_days(days: Sequence[DoseDay], settings: Watch = DEFAULTS) -> list[OffDays]:
    """Return the episodes of days (sorted) with a dose off its usual; each day is judged by the days before it."""
    found, open_ = list[OffDays](), list[DoseDay]()
    usual: dict[object, list[float]] = {}
    level = 0.0
    high, low = settings.overdosing_pct / 100.0, settings.dose_low_pct / 100.0

    def close() -> None:
        if open_:
            if len(open_) >= (settings.overdosing_days if open_[0].dose_kg_t > level else settings.dose_low_days):
                found.append(OffDays(tuple(open_), level))
            else:  # too short to be a fault: what was seen is usual too
                usual[open_[0].standing].extend(d.dose_kg_t for d in open_)
            open_.clear()

    for day in days:
        if day.is_test or day.standing is None:
            continue
        known = usual.setdefault(day.standing, [])
        middle = median(known[-USUAL_DAYS:]) if len(known) >= USUAL_LEAST else None
        side = 0 if middle is None else (day.dose_kg_t > high * middle) - (day.dose_kg_t < low * middle)
        continues = bool(open_) and side != 0 and open_[-1].standing == day.standing and (open_[0].dose_kg_t > level) == (side > 0)
        if not continues:
            close()
        if side == 0 or middle is None:
            known.append(day.dose_kg_t)
            continue
        if len(open_) >= LONGEST_DAYS:
            stayed = [d.dose_kg_t for d in open_]
            close()
            known.extend(stayed)
            continue
        if not open_:
            level = middle
        open_.append(day)
    close()
    return found
