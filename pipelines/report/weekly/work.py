"""When a line worked in a week: hours and days, as ranges where no meter tells. Pure.

A day that may have been worked is never counted as a day without work (rule of this project).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.report.language import Language
from pipelines.report.numbers import one_decimal
from pipelines.report.weekly.queries import Row

WORTH_A_WORD_MIN = 30  # minutes that ran, or may have, without being judged; fewer are not told


@dataclass(frozen=True)
class Span:
    """A number of hours or days known from `least` to `most`; equal where it is known."""

    least: float
    most: float

    @property
    def is_open(self) -> bool:
        return self.most > self.least


def hours(this: Row) -> Span:
    """Return the hours of dewatering of a week.

    At most those in which the pump ran with the state hidden (`lost_minutes`) and those in which not even that is known
    (`run_unknown_h`) come on top, never more than the minutes of unknown state; less than half an hour is not told.
    """
    least, lost = this.get("processing_h") or 0.0, (this.get("lost_minutes") or 0) / 60.0
    hidden = max(lost, (this.get("unknown_minutes") or 0) / 60.0)
    more = min(hidden, lost + (this.get("run_unknown_h") or 0.0))
    return Span(least, least + more if more * 60.0 >= WORTH_A_WORD_MIN else least)


def is_worked(day: Row) -> bool:
    """Return whether a day (row of kpi_day) was worked for certain: it processed, or its pump ran with the state hidden."""
    return bool(day["processing_minutes"]) or (day.get("lost_minutes") or 0) >= WORTH_A_WORD_MIN


def may_be_worked(day: Row) -> bool:
    """Return whether a day was worked, or cannot be judged."""
    return is_worked(day) or bool(day.get("unjudged_days"))


def days(in_week: Sequence[Row]) -> Span:
    """Return the days worked: the certain ones, to these and those that cannot be judged."""
    return Span(sum(1 for d in in_week if is_worked(d)), sum(1 for d in in_week if may_be_worked(d)))


def is_open(this: Row, in_week: Sequence[Row]) -> bool:
    """Return whether hours or days of a week are known as a range only: its totals are then lower bounds."""
    return hours(this).is_open or days(in_week).is_open


def hours_text(span: Span, t: Language) -> str:
    """Return "36.5", or "36.5 to 54.5"."""
    least, most = (t.numeral(one_decimal(h)) for h in (span.least, span.most))
    return t("range", low=least, high=most) if span.is_open else least


def days_text(span: Span, t: Language) -> str:
    """Return "5 days", or "5 to 6 days"."""
    if not span.is_open:
        return t.count("days", int(span.least))
    return t("days_many", n=t("range", low=f"{span.least:.0f}", high=f"{span.most:.0f}"))
