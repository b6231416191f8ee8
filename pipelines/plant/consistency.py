"""Check that the blocks of a plant file agree: names that must exist, entries that must not overlap."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from pipelines.plant import arrangements, logs
from pipelines.plant.blocks import PlantBlocks
from pipelines.plant.calendar import LONG_AGO, overlaps
from pipelines.plant.quantities import Since

_BARE_TON = re.compile(r"(^|\s)tons?\.?\s*$", re.IGNORECASE)
_MASSES = {"prices": ("disposal_wet", "recycle"), "polymers": ("price_neat",), "targets": ("unit",)}  # a lab sheet's tons: check.lab_units


def tons_are_told(given: Any) -> None:
    """Raise ValueError where a plant file in SI units (as TOML gives it) says "ton", which is short, metric or long."""
    if not isinstance(given, dict) or not isinstance(given.get("plant"), dict) or given["plant"].get("units") != "SI":
        return
    for block, keys in _MASSES.items():
        entries = given.get(block)
        for i, entry in enumerate(entries if isinstance(entries, list) else []):
            for key in keys:
                text = entry.get(key) if isinstance(entry, dict) else None
                if isinstance(text, str) and _BARE_TON.search(text):
                    raise ValueError(
                        f"{block}[{i}].{key}: {text!r}: which ton? Write t (1000 kg), short_ton (2000 lb) or long_ton (2240 lb)"
                    )


def check(plant_file: PlantBlocks) -> None:
    """Raise ValueError, naming block and key, for a name of nothing or two things at the same time."""
    _lines_are_there(plant_file)
    shifts = {"am", "pm"} | {s.name.lower() for s in plant_file.plant.shifts}
    for name in plant_file.lab.shift_words:
        if name.lower() not in shifts:
            raise ValueError(f"lab.shift_words: no shift {name!r} under [[plant.shifts]]; AM and PM need none")
    logs.check_pumps([(pump.id, pump.kind) for pump in plant_file.all_pumps], plant_file.service, plant_file.baselines)
    arrangements.check(plant_file)
    _densities_are_there(plant_file)
    _one_tag_a_role(plant_file)
    _one_result_a_column(plant_file)


def _lines_are_there(plant_file: PlantBlocks) -> None:
    lines = {line.id for line in plant_file.lines}
    if len(lines) != len(plant_file.lines):
        raise ValueError("two lines have the same id")
    named = [(f"signals[{i}].line", x.line) for i, x in enumerate(plant_file.signals)]
    named += [(f"signals[{i}].shared_by", other) for i, x in enumerate(plant_file.signals) for other in x.shared_by]
    named += [(f"polymers[{i}].lines", line) for i, x in enumerate(plant_file.polymers) for line in x.lines]
    named += [(f"layouts[{i}].results", line) for i, x in enumerate(plant_file.layouts) for r in x.results for line in x.lines_of(r)]
    named += [(f"lab.sample_points[{i}].line", x.line) for i, x in enumerate(plant_file.lab.sample_points)]
    for block in ("targets", "events", "ladders", "baseline_periods", "arrangements"):
        named += [(f"{block}[{i}].line", x.line) for i, x in enumerate(getattr(plant_file, block))]
    for where, line in named:
        if line not in lines:
            raise ValueError(f"{where}: no line {line!r}; lines are {', '.join(sorted(lines))}")


def _densities_are_there(plant_file: PlantBlocks) -> None:
    """Raise ValueError for a product without density, unless it is dry and counted by the solution meter: a bag has no volume to meter."""
    neat = {line.id for line in plant_file.lines if line.polymer_meter == "neat"}
    for i, polymer in enumerate(plant_file.polymers):
        metered = [line for line in polymer.lines if line in neat]
        if polymer.density is None and (polymer.form != "dry" or metered):
            why = f"line {metered[0]} meters it as supplied" if metered else f"it is of form {polymer.form!r}"
            raise ValueError(f'polymers[{i}].density: density of {polymer.product!r} is missing: {why}; write density = "1.03 kg/L"')


def _one_tag_a_role(plant_file: PlantBlocks) -> None:
    """Raise ValueError where two tags stand for one role of a line at the same time."""
    number = {id(signal): i for i, signal in enumerate(plant_file.signals)}
    for line in plant_file.lines:
        signals = plant_file.signals_of(line.id)
        for role in dict.fromkeys(s.role for s in signals):
            of_role = [s for s in signals if s.role == role]
            for one, other, start in _overlaps(plant_file, ((s.since, s.until) for s in of_role)):
                raise ValueError(
                    f"signals[{number[id(of_role[other])]}].tag: {of_role[one].tag!r} and {of_role[other].tag!r} are both {role} of {line.id}, "
                    f"from {start:%Y-%m-%d} on; give one of them `until`, or the other `since`, so that one tag stands for a role at a time"
                )


def _one_result_a_column(plant_file: PlantBlocks) -> None:
    """Raise ValueError where two results of a layout read one column at the same time: only the first would count."""
    for i, layout in enumerate(plant_file.layouts):
        for column in dict.fromkeys(r.column for r in layout.results):
            of_column = [r for r in layout.results if r.column == column]
            for _, _, start in _overlaps(plant_file, ((r.since, r.until) for r in of_column)):
                raise ValueError(
                    f"layouts[{i}].results: two results are read from the column {column!r}"
                    + (f", from {start:%Y-%m-%d} on" if start > LONG_AGO else "")
                    + "; a column holds one at a time: give them `until` and `since`, or name another column"
                )


def _overlaps(plant_file: PlantBlocks, spans: Iterable[tuple[Since | None, Since | None]]) -> list[tuple[int, int, datetime]]:
    """Return (place of one, place of the next, begin of the next) for spans of the plant file that overlap, in order of time."""
    dated = plant_file.calendar
    return overlaps((dated.since(since), dated.until(until)) for since, until in spans)
