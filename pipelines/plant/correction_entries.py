"""The corrections register resolved against the plant file: numbers in internal units, times in UTC."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from pipelines.base import units
from pipelines.plant.blocks import PlantBlocks
from pipelines.plant.corrections import Correction, Expected, Measure, measure_of_analyte


@dataclass(frozen=True)
class Entry:
    """A correction with its numbers in the internal unit and its time in UTC."""

    place: int  # in the plant file, from 1
    correction: Correction
    measure: Measure
    first: datetime
    end: datetime  # not included
    value: float | None
    expected: Expected | None
    offset: float  # of the export's unit: what is scaled is the value less this

    @property
    def id(self) -> str:
        return self.correction.id

    def corrected(self, raw: float | None) -> float | None:
        """Return what counts instead of a raw value; None when it is dropped or would be outside what can be."""
        if self.correction.action == "override":
            return self.value
        if self.correction.action == "drop" or raw is None:
            return None
        if self.correction.factor is None:
            return raw
        scaled = (raw - self.offset) * self.correction.factor + self.offset
        return scaled if self.measure.bounds[0] <= scaled <= self.measure.bounds[1] else None


def measure_of_tag(tag: str, plant_file: PlantBlocks) -> Measure:
    """Return how numbers of a tag are written; ValueError for an unknown tag or one of several dimensions."""
    found = plant_file.signals_with(tag)
    if not found:
        raise ValueError(f"there is no signal with the tag {tag!r}")
    roles = [s.meaning for s in found]
    if len({r.dimension for r in roles}) > 1:
        raise ValueError(f"{tag!r} stands for roles of several dimensions; correct it in the blocks of its signals")
    words = {s.unit for s in found}
    bounds = (max(r.physical[0] for r in roles), min(r.physical[1] for r in roles))
    return Measure(words.pop() if len(words) == 1 else None, roles[0].dimension, roles[0].unit, bounds)


def entries(plant_file: PlantBlocks) -> tuple[Entry, ...]:
    """Return the register of a plant file in its order, numbers and times resolved."""
    return tuple(_entry(k, c, plant_file) for k, c in enumerate(plant_file.corrections, start=1))


def _entry(place: int, correction: Correction, plant_file: PlantBlocks) -> Entry:
    measure = _measure(correction, plant_file)
    first, end = _span(correction, plant_file)
    value = None if correction.value is None else measure.given(correction.value)
    expected = None if correction.expect is None else measure.expected(correction.expect)
    offset = 0.0 if measure.unit is None or measure.is_lab else units.unit(measure.unit).offset
    return Entry(place, correction, measure, first, end, value, expected, offset)


def _measure(correction: Correction, plant_file: PlantBlocks) -> Measure:
    if correction.tag is not None:
        return measure_of_tag(correction.tag, plant_file)
    return measure_of_analyte(str(correction.analyte))


def _span(correction: Correction, plant_file: PlantBlocks) -> tuple[datetime, datetime]:
    """Return the span [first, end) of an entry; an exact time is one microsecond long, a date one operating day."""
    calendar = plant_file.calendar
    if correction.at is None:
        return calendar.since(correction.since), calendar.until(correction.until)
    first = calendar.instant(correction.at)
    if isinstance(correction.at, datetime):
        return first, first + timedelta(microseconds=1)
    return first, calendar.day_end(correction.at)


def check(plant_file: PlantBlocks) -> None:
    """Raise ValueError, naming block and key, for an entry that does not fit the rest of the plant file."""
    seen: set[str] = set()
    lines = {line.id for line in plant_file.lines}
    for k, c in enumerate(plant_file.corrections):
        where = f"corrections[{k}]"
        if c.id in seen:
            raise ValueError(f"{where}.id: two corrections have the id {c.id!r}")
        seen.add(c.id)
        if c.line is not None and c.line not in lines:
            raise ValueError(f"{where}.line: no line {c.line!r}; lines are {', '.join(sorted(lines))}")
        measure = _told(f"{where}.tag", _measure, c, plant_file)
        if c.factor is not None and measure.unit is None:
            raise ValueError(f"{where}.factor: the unit of {c.tag!r} changes; scale it in the blocks of its signals")
        if c.factor is not None and measure.dimension == "state":
            raise ValueError(f"{where}.factor: a state cannot be scaled; override it with on or off")
        if c.value is not None:
            _told(f"{where}.value", measure.given, c.value)
        if c.expect is not None:
            _told(f"{where}.expect", measure.expected, c.expect)
        first, end = _span(c, plant_file)
        if end <= first:
            raise ValueError(f"{where}.until: lies before since")


def _told(where: str, parse: Any, *given: Any) -> Any:
    try:
        return parse(*given)
    except ValueError as error:
        raise ValueError(f"{where}: {error}") from None
