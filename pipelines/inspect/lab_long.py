"""Recognise a lab file with one result a row by its shape: points and analytes repeat, results are numbers, units stand beside."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.inspect import cells, words

_FEW = 60  # more different words name no points and no analytes
_ANALYTE = re.compile(r"characteristic|analyte|parameter|determinand|analysis|test|constituent", re.IGNORECASE)
_POINT = re.compile(r"location|station|site|point|sampled at|place|source", re.IGNORECASE)
_RESULT = re.compile(r"result|value|measure|concentration", re.IGNORECASE)
_UNIT = re.compile(r"unit", re.IGNORECASE)
_QUALIFIER = re.compile(r"qualifier|detection ?condition|censor", re.IGNORECASE)
_ANALYTES = (  # parts of an analyte's name -> analyte; the first that fits
    ("moisture", "moisture"), ("volatile", "vs"), ("suspended", "tss"), ("tss", "tss"), ("capillary suction", "cst"), ("total solids", "ts"),
    ("dry solids", "ts"), ("dry matter", "ts"), ("residue", "ts"), ("strength", "strength"),
)  # fmt: skip
_POINTS = (*((word, "cake") for word in words.CAKE), *((word, "filtrate") for word in words.FILTRATE), ("feed", "feed"), ("sludge", "feed"))


@dataclass(frozen=True)
class LabLong:
    """The columns of such a file, and the words of points and analytes with what they most likely mean (None: not known)."""

    point: str
    analyte: str
    result: str
    unit: str | None
    qualifier: str | None
    points: dict[str, str | None]
    analytes: dict[str, str | None]


def told(names: Sequence[str], rows: Sequence[Sequence[str]], at: Sequence[int]) -> LabLong | None:
    """Return the shape from the columns `at` (time columns left out); None where no column holds analytes of a lab."""
    texts = {i: Counter(row[i] for row in rows if i < len(row) and row[i]) for i in at}
    analyte = next((i for i in at if _ANALYTE.search(names[i]) and any(_meaning(word, _ANALYTES) for word in texts[i])), None)
    numbers = [i for i in at if texts[i] and sum(n for w, n in texts[i].items() if cells.NUMBER.match(w)) >= 0.5 * texts[i].total()]
    result = next((i for i in numbers if _RESULT.search(names[i])), None)
    if analyte is None or result is None or len(texts[analyte]) > _FEW:
        return None
    free = [i for i in at if i not in (analyte, result)]
    point = next((i for i in free if _POINT.search(names[i]) and 0 < len(texts[i]) <= _FEW), None)
    unit = next((i for i in free if _UNIT.search(names[i]) and i != point), None)
    qualifier = next((i for i in free if _QUALIFIER.search(names[i]) and i not in (point, unit)), None)
    where = analyte if point is None else point
    return LabLong(
        names[where], names[analyte], names[result], None if unit is None else names[unit], None if qualifier is None else names[qualifier],
        {word: _meaning(word, _POINTS) for word in sorted(texts[where])}, {word: _meaning(word, _ANALYTES) for word in sorted(texts[analyte])},
    )  # fmt: skip


def _meaning(word: str, known: Sequence[tuple[str, str]]) -> str | None:
    """Return what the first known part of a word means; "ts" alone is total solids."""
    folded = word.lower()
    if known is _ANALYTES and re.search(r"\bts\b", folded):
        return "ts"
    return next((meaning for part, meaning in known if part in folded), None)
