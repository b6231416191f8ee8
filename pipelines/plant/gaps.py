"""Gaps of a day between two entries of a plant file that look as if `until` was taken for the last day; it is the first day after."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from itertools import pairwise

from pipelines.plant.blocks import PlantBlocks
from pipelines.plant.quantities import Since

_A_DAY = timedelta(hours=25)  # the longest operating day


def day_gaps(plant_file: PlantBlocks) -> list[str]:
    """Return a warning for each gap of at most one operating day between `until` of an entry and the begin of the next one."""
    out = []
    for line in plant_file.lines:
        signals = plant_file.signals_of(line.id)
        for role in dict.fromkeys(s.role for s in signals):
            out += _gaps(plant_file, f"{role} of {line.id}", ((s.since, s.until) for s in signals if s.role == role))
        of_line = (x for x in plant_file.arrangements if x.line == line.id)
        out += _gaps(plant_file, f"arrangements of {line.id}", ((x.begins, x.until) for x in of_line))
    for layout in plant_file.layouts:
        for column in dict.fromkeys(r.column for r in layout.results):
            spans = ((r.since, r.until) for r in layout.results if r.column == column)
            out += _gaps(plant_file, f"column {column!r} of layout {layout.id}", spans)
    return out


def _gaps(plant_file: PlantBlocks, what: str, spans: Iterable[tuple[Since | None, Since | None]]) -> list[str]:
    calendar = plant_file.calendar
    dated = sorted(((calendar.since(since), calendar.until(until), since, until) for since, until in spans), key=lambda x: x[:2])
    return [
        f"{what}: nothing holds from {before[3]} until {after[2]}; until is the first day after, so without a gap it is {after[2]}"
        for before, after in pairwise(dated)
        if timedelta(0) < after[0] - before[1] <= _A_DAY
    ]
