"""Find header rows, time columns and entities of a new file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from functools import cache
from itertools import pairwise

from pipelines.base import units
from pipelines.inspect import cells
from pipelines.inspect.stamps import StampGuess, guess
from pipelines.receive.shapes.header import joined_names

SEARCHED = 200  # records among which the header is looked for
_MOST_CELLS, _FEW = 100_000, 40
_LOOKED_AT = 2_000  # records that say whether a column holds times
_MOST_ENTITIES = 500
_REPEATED, _PARTED = 0.5, 0.98  # share of rows whose stamp stands more than once; share told apart by the column that says the unit

Record = tuple[int, tuple[str, ...]]


class ColumnTimes:
    """Time columns of a file. In a long file they are read once, below the rows searched for a header."""

    def __init__(self, records: Sequence[Record]) -> None:
        self._records = records
        self._is_long = len(records) > 2 * SEARCHED
        self._at = cache(lambda first, column: guess(self._texts(first, column)))

    def _texts(self, first: int, column: int) -> list[str]:
        rows = self._records[first : first + max(_FEW, min(_LOOKED_AT, _MOST_CELLS // max(len(self._records[0][1]), 1)))]
        return [fields[column] for _, fields in rows if column < len(fields)]

    def below(self, first: int) -> Callable[[int], StampGuess | None]:
        """Return what tells the time format of a column from the records below a header."""
        start = SEARCHED if self._is_long else first
        return lambda column: self._at(start, column)


def depths(records: Sequence[Record], index: int) -> list[int]:
    """Return how many rows from `index` on may be one header, the likeliest first: three, two or one."""
    return [*(depth for depth in (3, 2) if _is_grouped(records, index, depth)), 1]


def names_of(records: Sequence[Record], index: int, depth: int) -> tuple[str, ...]:
    """Return the names of columns under a header of `depth` rows."""
    rows = [fields for _, fields in records[index : index + depth]]
    return rows[0] if depth == 1 else joined_names(rows)


def _is_grouped(records: Sequence[Record], index: int, depth: int) -> bool:
    """Return whether rows name groups of columns and then the columns: none a value or unit, names below blanks or repeated groups."""
    rows = [fields for _, fields in records[index : index + depth]]
    if len(rows) < depth or any(sum(map(bool, row)) < 2 or _has_numbers(row) for row in rows) or _are_units(rows[-1]):
        return False
    names = [name for name in joined_names(rows) if name]
    upper_alone = all(_groups(upper, lower) for upper, lower in pairwise(rows))
    return upper_alone and len(set(names)) == len(names)


def _groups(upper: Sequence[str], lower: Sequence[str]) -> bool:
    """Return whether a row stands for groups of the columns named below: fewer texts, or the same one over several."""
    shown = [text for text in upper if text]
    below_blank = any(name and not group for group, name in zip(upper, lower, strict=False))
    return below_blank or len(set(shown)) < len(shown)


def _has_numbers(row: Sequence[str]) -> bool:
    return any(cells.NUMBER.match(text) for text in row if text) or any(any(c.isdigit() for c in t) and ":" in t for t in row)


def _are_units(row: Sequence[str]) -> bool:
    shown = [text for text in row if text]
    return sum(map(_is_unit, shown)) >= 0.5 * len(shown)


def _is_unit(word: str) -> bool:
    try:
        units.unit(word.strip("[]()"))
    except KeyError:
        return False
    return True


def entity(rows: Sequence[tuple[str, tuple[str, ...]]], tag: int | None, others: Sequence[int]) -> int | None:
    """Return the column that tells rows of one stamp (and tag) apart; -1 where they differ and none does, None where stamps are single."""
    keys = [(stamp, fields[tag] if tag is not None else "") for stamp, fields in rows]
    often = Counter(keys)
    many = sum(count for count in often.values() if count > 1)
    if len(rows) < 10 or many <= _REPEATED * len(rows):
        return None
    if len({(key, fields) for key, (_, fields) in zip(keys, rows, strict=True)}) <= len(often) * 1.1:
        return None  # rows that stand twice
    words = {at: {fields[at] for _, fields in rows} for at in others}
    for at in sorted(others, key=lambda column: len(words[column])):
        is_entity = 1 < len(words[at]) <= min(_MOST_ENTITIES, len(rows) // 3) and "" not in words[at]
        apart = len({(key, fields[at]) for key, (_, fields) in zip(keys, rows, strict=True)})
        if is_entity and apart >= _PARTED * len({(key, fields) for key, (_, fields) in zip(keys, rows, strict=True)}):
            return at
    return -1
