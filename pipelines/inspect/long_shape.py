"""Recognise a long export by its shape, whatever its columns are called: repeating tags, one number a row, units and qualities beside."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from pipelines.base import units
from pipelines.inspect import cells, words

_FEW = 12  # more different words are no qualities
_MOST_UNITS = 30
_ROWS_A_TAG = 5  # a tag stands in at least so many rows, on average


@dataclass(frozen=True)
class LongShape:
    """The columns of a long export, and the unit of each tag where a column says it."""

    tag: str
    value: str
    quality: str | None = None
    unit: str | None = None  # the column that says the unit of a row
    units: dict[str, str] = field(default_factory=dict)


def told(names: Sequence[str], rows: Sequence[Sequence[str]], at: Sequence[int]) -> LongShape | None:
    """Return the shape from the columns `at` (time columns left out), or None where the rows are not one reading each."""
    texts = {i: Counter(row[i] for row in rows if i < len(row) and row[i]) for i in at}
    unit, quality = _beside(names, texts, at)
    rest = [i for i in at if i not in (unit, quality) and texts[i]]
    value = _one([i for i in rest if _are_numbers(texts[i])], names, words.VALUE)
    tag = _one([i for i in rest if i != value and _are_tags(texts[i])], names, words.TAG)
    if tag is None or value is None:
        return None
    if unit is not None and not _has_one_unit(rows, tag, unit):
        return None  # these are words of another kind
    is_named = names[tag].lower() in words.TAG or names[value].lower() in words.VALUE
    is_numbered = sum(any(c.isdigit() for c in word) for word in texts[tag]) > len(texts[tag]) / 2
    if not (is_named or is_numbered or unit is not None):
        return None  # as well a wide export of a state and a number
    return _shape(names, rows, (tag, value, unit, quality))


def named(names: Sequence[str], rows: Sequence[Sequence[str]], at: Sequence[int], tag: str, value: str) -> LongShape:
    """Return the shape of a long export whose columns of tags and values are known by their names."""
    texts = {i: Counter(row[i] for row in rows if i < len(row) and row[i]) for i in at}
    tag_at, value_at = names.index(tag), names.index(value)
    unit, quality = _beside(names, texts, [i for i in at if i not in (tag_at, value_at)])
    if unit is not None and not _has_one_unit(rows, tag_at, unit):
        unit = None
    return _shape(names, rows, (tag_at, value_at, unit, quality))


def _shape(names: Sequence[str], rows: Sequence[Sequence[str]], found: tuple[int, int, int | None, int | None]) -> LongShape:
    tag, value, unit, quality = found
    says_unit, says_quality = (None if i is None else names[i] for i in (unit, quality))
    return LongShape(names[tag], names[value], says_quality, says_unit, _units(rows, tag, unit))


def _beside(names: Sequence[str], texts: dict[int, Counter[str]], at: Sequence[int]) -> tuple[int | None, int | None]:
    """Return the columns of units and of qualities."""
    unit = next((i for i in at if _are_units(texts[i])), None)
    return unit, next((i for i in at if i != unit and _are_qualities(names[i], texts[i])), None)


def _has_one_unit(rows: Sequence[Sequence[str]], tag: int, unit: int) -> bool:
    """Return whether each tag has one unit."""
    pairs = {(row[tag], row[unit]) for row in rows if max(tag, unit) < len(row) and row[unit]}
    return len(pairs) == len({name for name, _ in pairs})


def _one(found: list[int], names: Sequence[str], known: Sequence[str]) -> int | None:
    """Return the only column, or of several the one whose name is known."""
    return found[0] if len(found) == 1 else next((i for i in found if names[i].lower() in known), None)


def _are_units(texts: Counter[str]) -> bool:
    """Return whether most words are units known here, and none is a number: a plant has units of other instruments too."""
    if not 0 < len(texts) <= _MOST_UNITS or any(cells.NUMBER.match(word) for word in texts):
        return False
    return sum(_unit(word) is not None for word in texts) * 2 > len(texts)


def _are_qualities(name: str, texts: Counter[str]) -> bool:
    if not texts or len(texts) > _FEW or cells.are_states(texts):
        return False
    told = [w for w in texts if len(w) > 1 and not cells.NUMBER.match(w)]
    sorted_words = cells.sorted_words(told)
    return name.lower() in words.QUALITY or bool(told and (sorted_words["good"] or sorted_words["bad"]) and not sorted_words["uncertain"])


def _are_numbers(texts: Counter[str]) -> bool:
    return sum(n for word, n in texts.items() if cells.NUMBER.match(word)) >= 0.5 * texts.total()


def _are_tags(texts: Counter[str]) -> bool:
    is_repeated = texts.total() >= _ROWS_A_TAG * len(texts)
    return len(texts) > 1 and is_repeated and not any(cells.NUMBER.match(w) for w in texts) and not cells.are_states(texts)


def _units(rows: Sequence[Sequence[str]], tag: int, unit: int | None) -> dict[str, str]:
    """Return tag -> unit; a word that is no unit known here stays as it is written."""
    if unit is None:
        return {}
    said = {row[tag]: row[unit] for row in rows if max(tag, unit) < len(row) and row[unit]}
    return {name: _unit(word) or word for name, word in said.items()}


def _unit(word: str) -> str | None:
    try:
        return units.unit(word).name
    except KeyError:
        return None
