"""Arrangements (pump, injection point, mixing device) of a line and their dates: the `[[arrangements]]` of the plant file.

An arrangement is known by its name: the spells of a line that bear one name are one arrangement, with one pump. Between
spells, and on a line without any, no arrangement is known and the line's own pump is in service.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from pipelines.plant.blocks import PlantBlocks
from pipelines.plant.calendar import FAR_FUTURE, LONG_AGO, Calendar, overlaps
from pipelines.plant.logs import Arrangement
from pipelines.plant.quantities import ContradictionError

_DAY_H = 24.0


@dataclass(frozen=True)
class Spell:
    """One arrangement in service on a line in [start_utc, end_utc); up to transition_end_utc it belongs to no arm."""

    line: str
    name: str
    pump: str
    start_utc: datetime
    end_utc: datetime
    transition_end_utc: datetime
    note: str = ""


@dataclass(frozen=True)
class PumpSpan:
    """A feed pump in service on a line in [start_utc, end_utc)."""

    line: str
    pump: str
    start_utc: datetime
    end_utc: datetime


def of_line(plant_file: PlantBlocks, line_id: str) -> tuple[Spell, ...]:
    """Return the spells of a line in order of time."""
    own = plant_file.line(line_id).pump.id
    return tuple(
        sorted(
            (_spell(plant_file.calendar, x, own) for x in plant_file.arrangements if x.line == line_id),
            key=lambda spell: spell.start_utc,
        )
    )


def pump_of(plant_file: PlantBlocks, line_id: str, at_utc: datetime) -> str:
    """Return the id of the feed pump that was in service on a line at an instant."""
    standing = (s.pump for s in of_line(plant_file, line_id) if s.start_utc <= at_utc < s.end_utc)
    return next(standing, plant_file.line(line_id).pump.id)


def check(plant_file: PlantBlocks) -> None:
    """Raise ValueError, naming block and key, where arrangements end before they begin, overlap or disagree on their pump."""
    _pumps_are_there(plant_file)
    for i, x in enumerate(plant_file.arrangements):
        start, end = _span(plant_file.calendar, x)
        if end <= start:
            remedy = (
                "until is the first day (or time) after the arrangement, so it lies after from; a day's arrangement ends on the next day"
            )
            raise ContradictionError(f"arrangements[{i}].until", f"{x.name!r} ends at its begin or before", remedy)
    for line in plant_file.lines:
        entries = [(i, x) for i, x in enumerate(plant_file.arrangements) if x.line == line.id]
        for one, other, _ in overlaps(_span(plant_file.calendar, x) for _, x in entries):
            (_, before), (i, after) = entries[one], entries[other]
            problem = f"{before.name!r} and {after.name!r} stand on {line.id} at the same time"
            raise ContradictionError(f"arrangements[{i}].from", problem, f"give {before.name!r} until = {after.begins}, or move this one")
        _one_pump_a_name(entries, line.pump.id)
    _one_line_a_pump(plant_file)


def _pumps_are_there(plant_file: PlantBlocks) -> None:
    """Raise ValueError for a pump that is named and not described, described twice, or described and never in service."""
    ids = [pump.id for pump in plant_file.all_pumps]
    named = {x.pump for x in plant_file.arrangements}
    for i, x in enumerate(plant_file.arrangements):
        if x.pump is not None and x.pump not in ids:
            raise ValueError(f"arrangements[{i}].pump: no pump {x.pump!r}; pumps are {', '.join(sorted(set(ids)))}")
    for i, pump in enumerate(plant_file.pumps):
        if ids.count(pump.id) > 1:
            raise ContradictionError(f"pumps[{i}].id", f"two pumps are called {pump.id!r}", "give each pump an id of its own")
        if pump.id not in named:
            remedy = f"name it in [[arrangements]] with pump = {pump.id!r}, or take the block out"
            raise ContradictionError(f"pumps[{i}].id", f"no arrangement puts {pump.id!r} into service", remedy)


def _one_pump_a_name(entries: Iterable[tuple[int, Arrangement]], own: str) -> None:
    pumps: dict[str, str] = {}
    for i, x in entries:
        pump = x.pump or own
        if pumps.setdefault(x.name, pump) != pump:
            problem = f"has pump {pumps[x.name]!r} elsewhere and {pump!r} here"
            raise ContradictionError(f"arrangements[{i}].name", problem, "an arrangement has one pump: give the other a name of its own")


def _one_line_a_pump(plant_file: PlantBlocks) -> None:
    """Raise ValueError where an arrangement puts a pump into service that serves another line at the time."""
    spans = [span for line in plant_file.lines for span in pump_spans(plant_file, line.id)]
    for i, x in enumerate(plant_file.arrangements):
        mine = _span(plant_file.calendar, x)
        for span in spans:
            if span.pump == x.pump and span.line != x.line and max(span.start_utc, mine[0]) < min(span.end_utc, mine[1]):
                problem = f"{x.pump!r} serves {span.line} at the same time"
                raise ContradictionError(f"arrangements[{i}].pump", problem, "a pump serves one line at a time: mend from and until")


def pump_spans(plant_file: PlantBlocks, line_id: str) -> tuple[PumpSpan, ...]:
    """Return which feed pump was in service on a line, spans that follow each other and cover all time."""
    own, found, at = plant_file.line(line_id).pump.id, list[PumpSpan](), LONG_AGO
    for spell in of_line(plant_file, line_id):
        if spell.start_utc > at:
            _extend(found, PumpSpan(line_id, own, at, spell.start_utc))
        _extend(found, PumpSpan(line_id, spell.pump, spell.start_utc, spell.end_utc))
        at = spell.end_utc
    if at < FAR_FUTURE:
        _extend(found, PumpSpan(line_id, own, at, FAR_FUTURE))
    return tuple(found)


def _extend(spans: list[PumpSpan], span: PumpSpan) -> None:
    """Append a span, or lengthen the last one when the pump stays."""
    if spans and spans[-1].pump == span.pump:
        span = PumpSpan(span.line, span.pump, spans.pop().start_utc, span.end_utc)
    spans.append(span)


def _span(calendar: Calendar, x: Arrangement) -> tuple[datetime, datetime]:
    return calendar.instant(x.begins), calendar.until(x.until)


def _spell(calendar: Calendar, x: Arrangement, own: str) -> Spell:
    start, end = _span(calendar, x)
    return Spell(x.line, x.name, x.pump or own, start, end, min(end, _transition_end(calendar, x, start)), x.note)


def _transition_end(calendar: Calendar, x: Arrangement, start: datetime) -> datetime:
    """Return where the transition ends: whole days after a date are operating days, of 23 or 25 hours where the clock changes."""
    hours = x.transition or 0.0
    if isinstance(x.begins, date) and not isinstance(x.begins, datetime) and hours % _DAY_H == 0.0:
        return calendar.instant(x.begins + timedelta(days=round(hours / _DAY_H)))
    return start + timedelta(hours=hours)
