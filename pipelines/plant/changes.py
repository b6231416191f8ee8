"""What differs between two plant files, key by key, and what each difference restates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, Literal

from pipelines.plant.blocks import OF_INTAKE, OF_READING
from pipelines.plant.model import PlantFile

Effect = Literal["rebuild", "compute", "label"]
MEANING: dict[Effect, str] = {"rebuild": "files to be read again", "compute": "days computed", "label": "words on pages only"}
_IDENTITY = ("id", "line", "lines", "role", "tag", "kpi", "product", "since", "at")  # of an entry, as far as it has them
_LABELS = {("plant", "name"), ("plant", "invented"), ("lines", "name")}
_DATED = ("signals", "polymers", "prices", "arrangements")  # blocks whose entries say nothing of the days before their `since`


@dataclass(frozen=True)
class Change:
    """One key whose value differs; None is a key that is not there. `since`: first day whose numbers can differ; None: every day."""

    key: str
    before: Any
    after: Any
    effect: Effect
    since: date | None = None


@dataclass(frozen=True)
class _Value:
    block: str
    name: str
    value: Any
    since: date | None


def between(old: PlantFile, new: PlantFile) -> list[Change]:
    """Return the keys that differ, sorted by key."""
    before, after = _flat(old), _flat(new)
    changes = []
    for key in sorted(before.keys() | after.keys()):
        was, now = before.get(key), after.get(key)
        if (was and was.value) != (now and now.value):
            changes.append(_change(key, was, now))
    if old.reads_as != new.reads_as and all(change.effect != "rebuild" for change in changes):
        changes.append(Change("signals and layouts", "one order", "another order", "rebuild"))  # the first that fits a file reads it
    return changes


def _change(key: str, was: _Value | None, now: _Value | None) -> Change:
    known = [one for one in (was, now) if one is not None]
    effect = _effect(known[0].block, known[0].name)
    days = [one.since for one in known]
    since = min(day for day in days if day is not None) if effect == "compute" and None not in days else None
    return Change(key, was and was.value, now and now.value, effect, since)


def _effect(block: str, name: str) -> Effect:
    is_read = {"plant": name in OF_READING, "signals": name in OF_INTAKE, "layouts": True, "lab": name != "uncertainty"}
    if is_read.get(block, False):
        return "rebuild"
    return "label" if (block, name) in _LABELS or block == "mail" else "compute"


def _flat(plant_file: PlantFile) -> dict[str, _Value]:
    """Return key -> value of what a plant file says beyond its defaults; entries of a list go by what names them."""
    found: dict[str, _Value] = {}
    for block, content in plant_file.model_dump(exclude_defaults=True).items():
        for place, entry in _entries(block, content):
            since = _first_day(plant_file, entry.get("since")) if block in _DATED else None
            for name, value in entry.items():
                found[f"{place}.{name}"] = _Value(block, name, value, since)
    return found


def _entries(block: str, content: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(content, dict):
        yield block, content
        return
    taken: dict[str, int] = {}
    for entry in content:
        named = f"{block}[{', '.join(_word(entry[k]) for k in _IDENTITY if entry.get(k) is not None)}]"
        taken[named] = taken.get(named, 0) + 1
        yield named if taken[named] == 1 else f"{named} {taken[named]}", entry


def _word(value: Any) -> str:
    return "+".join(map(str, value)) if isinstance(value, tuple | list) else str(value)


def _first_day(plant_file: PlantFile, since: date | None) -> date | None:
    """Return the first operating day that a plant-local date or date-time can touch: the one before, where days begin after midnight."""
    if since is None:
        return None
    day = since.date() if isinstance(since, datetime) else since
    return day - timedelta(days=1) if plant_file.plant.operating_day_start > time(0) else day
