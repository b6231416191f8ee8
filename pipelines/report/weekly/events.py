"""What the plant logged of a line in the weeks of the page: changes of equipment and trials, that no comparison may reach over. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from pipelines.plant.model import PlantFile
from pipelines.report.weekly.read import WeekData


@dataclass(frozen=True)
class Event:
    """Something logged, with its operating day."""

    at_utc: datetime
    day: date
    what: str


def of_line(week: WeekData, line: str, plant_file: PlantFile) -> tuple[Event, ...]:
    """Return the events of a line within the shown days, oldest first; parts of the pump changed on a day without an event count too."""
    logged = [(e.at, e.what.strip().rstrip(".")) for e in plant_file.events if e.line == line]
    pumps = {x.pump.id for x in plant_file.lines if x.id == line}
    changed = [(s.at, f"{s.kind} ({s.pump})") for s in plant_file.service if s.pump in pumps and (s.resets_overhaul or s.ends_reference)]
    found, days = [], set()
    for at, what in [*logged, *changed]:
        instant = plant_file.calendar.until(at)
        day = plant_file.calendar.operating_day(instant)
        if week.first_shown_day <= day <= week.week_start_day + timedelta(days=6) and ((at, what) in logged or day not in days):
            found.append(Event(instant, day, what))
            days.add(day)
    return tuple(sorted(found, key=lambda e: (e.at_utc, e.what)))


def sentence(week: WeekData, events: Sequence[Event]) -> str | None:
    """Return what page 1 says of the events of the week; None without one."""
    found = in_week(week, events)
    if not found:
        return None
    mixed = "; the week's figures mix before and after" if any(e.at_utc > week.start_utc for e in found) else ""
    start = f"{len(found)} events, the first on" if len(found) > 1 else "On"
    return f"{start} {spoken_day(found[0].day)}: “{found[0].what}”{mixed}."


def why_not_compared(week: WeekData, events: Sequence[Event]) -> str | None:
    """Return which event forbids a comparison with last week: one of this week, or one within the last; None when there is none."""
    found = in_week(week, events)
    if found:
        return f"the event{'s' if len(found) > 1 else ''} of {spoken_day(found[0].day)}{' and after' if len(found) > 1 else ''}"
    before = week.start_utc - timedelta(days=7)
    last = [e for e in events if before + timedelta(hours=1) < e.at_utc < week.start_utc]  # an hour for a change of summer time
    return f"it holds an event of {spoken_day(last[-1].day)}: “{last[-1].what}”" if last else None


def in_week(week: WeekData, events: Sequence[Event]) -> list[Event]:
    """Return the events of the reported week."""
    return [e for e in events if week.start_utc <= e.at_utc < week.end_utc]


def spoken_day(day: date) -> str:
    """Return "Tuesday 3 March"."""
    return f"{day:%A} {day.day} {day:%B}"
