"""What is still open of a line's week: lab results, flags without a disposition, a solids balance that does not close. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from pipelines.report.weekly.read import LineData, Row, WeekData
from pipelines.report.words import counted

# After so long no lab result is waited for, unless the lab's usual delay is shorter (its median reach; common practice, no source).
LONGEST_WAIT = timedelta(days=14)
LEAST_WEEKS = 4  # that show that a weekday is never sampled (rule of this project)
FINAL, FINAL_BUT = "final", "final but for the open items"
_URGENT = ("check today", "check this week")
_BALANCE = "solids_balance."


@dataclass(frozen=True)
class Standing:
    """Whether a result can still change a week: days that wait for one, and days without one that wait no more, of the days processed."""

    is_provisional: bool
    open_days: int = 0
    held_days: int = 0
    of_days: int = 0

    def words(self, has_items: bool) -> str:
        """Return what the page says: "provisional: ...", "final", "final but for the open items"."""
        of = f"of {counted(self.of_days, 'day')}"
        if self.is_provisional:
            return f"provisional: lab results of {self.open_days} {of} can still come" if self.open_days else "provisional"
        final = FINAL_BUT if has_items else FINAL
        return f"{final}; lab results of {self.held_days} {of} are missing and no longer expected" if self.held_days else final


def standing(week: WeekData, data: LineData, in_week: Sequence[Row]) -> Standing:
    """Return where a line's week stands. A week marked provisional whose days do not say so stays provisional."""
    wait = LONGEST_WAIT if data.lab_delay_h is None else min(LONGEST_WAIT, timedelta(hours=data.lab_delay_h))
    unsampled = _never_sampled([d for d in data.days if d["operating_day"] < week.week_start_day])
    missing = [d for d in in_week if d["is_provisional"]]
    still = sum(1 for d in missing if week.known_utc < d["period_end_utc"] + wait and d["operating_day"].isoweekday() not in unsampled)
    marked = bool((data.this or {})["is_provisional"])
    worked = sum(1 for d in in_week if d["processing_minutes"])
    return Standing(marked and (still > 0 or not missing), still, len(missing) - still, worked)


def _never_sampled(days: Sequence[Row]) -> set[int]:
    """Return the weekdays on which the line worked in at least LEAST_WEEKS of the weeks before and no sample was ever taken."""
    worked = [
        (d["operating_day"].isoweekday(), d["feed_samples"] + d["cake_samples"] + d["filtrate_samples"])
        for d in days
        if d["processing_minutes"]
    ]
    return {k for k in range(1, 8) if sum(1 for w, _ in worked if w == k) >= LEAST_WEEKS and not any(n for w, n in worked if w == k)}


def open_items(week: WeekData, data: LineData) -> tuple[Row, ...]:
    """Return what asks for a check and has no disposition yet, the most urgent first, as rows like those of flags."""
    found = [f for f in data.flags if f["severity"] in _URGENT and f["disposition"] is None]
    if data.balance is not None and data.balance["verdict"] in ("below limits", "above limits"):
        found.insert(0, _unclosed(week, data.balance))
    return tuple(sorted(found, key=lambda f: _URGENT.index(f["severity"])))


def to_print(items: tuple[Row, ...], most: int) -> tuple[Row, ...]:
    """Return the `most` items to print: the first, but always what stands in no table of flags."""
    nowhere_else = tuple(i for i in items[most:] if i["flag_id"].startswith(_BALANCE))
    return (*items[: most - len(nowhere_else)], *nowhere_else)


def _unclosed(week: WeekData, balance: Row) -> Row:
    whose = " of all lines" if balance["line"] == "all lines" else ""
    percent, low, high = (100.0 * balance[c] for c in ("solids_closure", "limit_low", "limit_high"))
    return {
        "flag_id": f"{_BALANCE}{balance['line']}.{week.iso_week}", "severity": "check this week", "start_utc": week.start_utc,
        "sentence": f"The solids balance{whose} does not close: cake and filtrate hold {percent:.0f} % of the solids fed, {low:.0f} to {high:.0f} expected.",
        "suggestion": "hold truck tickets and lab sheets of the week against each other; then check feed TS and the sludge meter",
    }  # fmt: skip
