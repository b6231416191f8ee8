"""The arrangement in service on a line, to which usual values, curves and histories belong."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from pipelines.plant import arrangements
from pipelines.plant.model import PlantFile

_MOMENT = timedelta(microseconds=1)


def standing_at(plant_file: PlantFile, line: str, at: datetime) -> object:
    """Return what stands for the arrangement of a line just before an instant.

    The name of the arrangement, so that weeks of one arm that alternate with another share one history; without a declared one
    the number of events logged before, since an event may have changed the equipment. None within a transition, which belongs to no arm.
    """
    for spell in arrangements.of_line(plant_file, line):
        if spell.start_utc < at <= spell.end_utc:
            return None if at <= spell.transition_end_utc else spell.name
    return sum(plant_file.calendar.since(e.at) < at for e in plant_file.events if e.line == line)


def last_stretch_start(plant_file: PlantFile, line: str, day: date) -> datetime:
    """Return from when on an operating day what stands at its end stood: its start, or the last edge of an arrangement within it."""
    start, end = plant_file.calendar.day_start(day), plant_file.calendar.day_end(day)
    edges = [at for s in arrangements.of_line(plant_file, line) for at in (s.start_utc, s.transition_end_utc, s.end_utc)]
    return max((at for at in edges if start < at < end), default=start)


def standing_on(plant_file: PlantFile, line: str, day: date) -> object:
    """Return what stands on a line at the end of an operating day; None when the day began with something else."""
    end = standing_at(plant_file, line, plant_file.calendar.day_end(day))
    start = standing_at(plant_file, line, plant_file.calendar.day_start(day) + _MOMENT)
    return end if start == end else None


def pump_standing_at(plant_file: PlantFile, line: str, at: datetime) -> object:
    """Return what stands for the feed pump of a line just before an instant: what hangs on the pump and the tank, not on the mixing point.

    The id of the pump where arrangements are declared, transitions included; else the number of events logged before.
    """
    if arrangements.of_line(plant_file, line):
        return arrangements.pump_of(plant_file, line, at - _MOMENT)
    return standing_at(plant_file, line, at)
