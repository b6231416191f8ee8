"""Whether a week's numbers can still change: lab results that can still come. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from pipelines.report.language import Language
from pipelines.report.weekly import work
from pipelines.report.weekly.queries import Row
from pipelines.report.weekly.rows import LineData, WeekData

# After so long no lab result is waited for, unless the lab's usual delay is shorter (its median reach; common practice, no source).
LONGEST_WAIT = timedelta(days=14)
LEAST_WEEKS = 4  # that show that a weekday is never sampled (rule of this project)


@dataclass(frozen=True)
class Standing:
    """Whether a result can still change a week: days that wait for one, and days without one that wait no more, of the days processed."""

    is_provisional: bool
    open_days: int = 0
    held_days: int = 0
    of_days: int = 0

    def words(self, has_items: bool, t: Language) -> str:
        """Return what the page says: "provisional: ...", "final", "final but for the open items"."""
        days = t.count("days", self.of_days)
        if self.is_provisional:
            return t("standing.provisional_days", open=self.open_days, days=days) if self.open_days else t("standing.provisional")
        final = t("standing.final_but" if has_items else "standing.final")
        return f"{final}; {t('standing.held', held=self.held_days, days=days)}" if self.held_days else final


def standing(week: WeekData, data: LineData, in_week: Sequence[Row]) -> Standing:
    """Return where a line's week stands. A week marked provisional whose days do not say so stays provisional.

    A day whose lab rows came and were refused waits for nothing.
    """
    wait = LONGEST_WAIT if data.lab_delay_h is None else min(LONGEST_WAIT, timedelta(hours=data.lab_delay_h))
    unsampled = _never_sampled([d for d in data.days if d["operating_day"] < week.week_start_day])
    missing = [d for d in in_week if d["is_provisional"]]
    still = sum(
        1
        for d in missing
        if week.known_utc < d["period_end_utc"] + wait
        and d["operating_day"].isoweekday() not in unsampled
        and d["operating_day"] not in data.refused_lab_days
    )
    marked = bool((data.this or {})["is_provisional"])
    return Standing(marked and (still > 0 or not missing), still, len(missing) - still, int(work.days(in_week).most))


def _never_sampled(days: Sequence[Row]) -> set[int]:
    """Return the weekdays on which the line worked in at least LEAST_WEEKS of the weeks before and no sample was ever taken."""
    worked = [
        (d["operating_day"].isoweekday(), d["feed_samples"] + d["cake_samples"] + d["filtrate_samples"])
        for d in days
        if d["processing_minutes"]
    ]
    return {k for k in range(1, 8) if sum(1 for w, _ in worked if w == k) >= LEAST_WEEKS and not any(n for w, n in worked if w == k)}
