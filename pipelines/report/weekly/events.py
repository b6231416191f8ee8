"""What the plant logged of a line in the weeks of the page: changes of equipment and trials, that no comparison may reach over. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from pipelines.plant.model import PlantFile
from pipelines.report.weekly.rows import WeekData


@dataclass(frozen=True)
class Event:
    """Something logged, with its operating day."""

    at_utc: datetime
    day: date
    what: str


def of_line(week: WeekData, line: str, plant_file: PlantFile) -> tuple[Event, ...]:
    """Return the events of a line within the shown days, oldest first; parts of the pump changed on a day without an event count too."""
    logged = [(e.at, e.what.strip().rstrip(".")) for e in plant_file.events if e.line == line]
    pumps = {x.pump.id for x in plant_file.lines if x.id == line} | {a.pump for a in plant_file.arrangements if a.line == line}
    changed = [(s.at, f"{s.kind} ({s.pump})") for s in plant_file.service if s.pump in pumps and (s.resets_overhaul or s.ends_reference)]
    found, days = [], set()
    for at, what in [*logged, *changed]:
        instant = plant_file.calendar.until(at)
        day = plant_file.calendar.operating_day(instant)
        if week.first_charted_day <= day <= week.week_start_day + timedelta(days=6) and ((at, what) in logged or day not in days):
            found.append(Event(instant, day, what))
            days.add(day)
    return tuple(sorted(found, key=lambda e: (e.at_utc, e.what)))


def within(week: WeekData, events: Sequence[Event]) -> list[Event]:
    """Return the events that divide the reported week: later than its start."""
    return [e for e in events if week.start_utc + timedelta(hours=1) < e.at_utc < week.end_utc]
