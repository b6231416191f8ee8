"""Open items of a line's week: what they are, who looks at them and until when. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from pipelines.report.language import Language
from pipelines.report.numbers import one_decimal, whole
from pipelines.report.weekly.queries import Row
from pipelines.report.weekly.rows import LineData, WeekData

URGENT = ("check today", "check this week")
MOST_MINUTES, MOST_HOURS = 120, 100  # longer durations are told in hours, then in days
UNDECIDED = (None, "unknown")  # dispositions of a flag that still has to be looked into
DAYS_TO_ACT = {"check today": 0, "check this week": 7}  # after the page's day
# Who looks at a cause first (common practice, no source); a cause that is not here is the process engineer's.
OWNER = {
    "data gap": "data", "clock error": "data", "resampled": "data", "set-point as value": "data",
    "flatline": "instruments", "out of range": "instruments", "clipped": "instruments", "zero offset": "instruments",
    "stuck run bit": "instruments", "totaliser reset": "instruments", "totaliser jump": "instruments", "totaliser ratio": "instruments",
    "spikes": "instruments", "meter doubted": "instruments", "flow per revolution off": "instruments", "dry run": "maintenance", "negative flow": "maintenance", "wash water low": "maintenance",
    "short cycling": "maintenance", "polymer outage": "operations", "polymer left on": "operations", "weak solution": "operations",
    "blocked suction": "operations", "deadhead": "operations", "torque high": "operations",
    "tank level low": "operations", "head box high": "operations", "seal water low": "maintenance",
    "vibration high": "maintenance",
}  # fmt: skip


@dataclass(frozen=True)
class Item:
    """One open item: the flag, its short text, the owner's role in words and the day until when."""

    flag: Row
    text: str
    owner: str
    by: date

    def words(self, t: Language, line_name: str | None) -> str:
        """Return "Belt press 1, sludge flow meter: data gap, 40 min, Tue 3 Mar; data engineer, by Mon 9 Mar"; the line where there are several."""
        text = self.text if line_name is None else t("item.of_line", line=line_name, item=self.text)
        return t("item.owner", item=f"{text[:1].upper()}{text[1:]}", owner=self.owner, by=t.day(self.by))


def of_line(week: WeekData, data: LineData, t: Language) -> tuple[Item, ...]:
    """Return the causes that ask for a check and are not decided yet, the most urgent first; owner and day are those of the plant's decision where it names them."""
    asked = [f for f in data.flags if f["severity"] in URGENT and f["disposition"] in UNDECIDED and is_cause(f)]
    return tuple(Item(f, title(week, f, t), _owner(f, t), _due(week, f)) for f in sorted(asked, key=lambda f: URGENT.index(f["severity"])))


def _owner(flag: Row, t: Language) -> str:
    named = flag.get("owner")
    return t.word("decider", named) if named else t(f"owner.{OWNER.get(flag['detector'], 'process')}")


def _due(week: WeekData, flag: Row) -> date:
    named: date | None = flag.get("due_day")
    return named or week.known_utc.astimezone(week.zone).date() + timedelta(days=DAYS_TO_ACT[flag["severity"]])


def is_cause(flag: Row) -> bool:
    """Return whether a flag is the first of its cause; repeats and consequences are looked at with it."""
    return flag.get("cause_id") in (None, flag["flag_id"])


def title(week: WeekData, flag: Row, t: Language) -> str:
    """Return a flag in few words: its signal, cause, how long it held and the day (its first, when it held longer than one)."""
    what, day = t.word("detector", flag["detector"]), t.day(flag["start_utc"].astimezone(week.zone).date())
    is_long, how_long = flag["minutes"] > 24 * 60, lasted(flag["minutes"], t)
    if flag.get("role"):
        return t("item.role_long" if is_long else "item.role", role=t.word("role", flag["role"]), what=what, lasted=how_long, day=day)
    return t("item.line_long" if is_long else "item.line", what=what, lasted=how_long, day=day)


def lasted(minutes: int, t: Language) -> str:
    """Return a duration: minutes up to two hours, hours up to a hundred, then days."""
    if minutes <= MOST_MINUTES:
        return t("item.minutes", n=minutes)
    if minutes < MOST_HOURS * 60:
        return t("item.hours", n=t.numeral(one_decimal(minutes / 60)))
    return t("item.days", n=t.numeral(whole(minutes / (24 * 60))))
