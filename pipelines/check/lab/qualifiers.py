"""Numbers of lab sheets with the qualifiers in their cell or beside it.

Qualifiers as agencies use them (common practice, no source): R rejected, U or ND not detected, J estimated, UJ not detected
at an estimated limit; "~" is about, "<" and ">" are below and above. Local words come from the plant file.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from pipelines.plant.model import Layout

REJECTS = frozenset({"R", "UR"})
NON_DETECTS = frozenset({"<", "U", "ND", "UJ"})
ESTIMATED = frozenset({"J", "UJ", "~", ">"})
# What may stand before or after a number in its cell, as folded text -> qualifier.
_SIGNS = {"<": "<", "<=": "<", "\u2264": "<", ">": ">", ">=": ">", "\u2265": ">", "~": "~", "\u2248": "~"}
_LETTERS = {w.lower(): w for w in ("J", "B", "H", "R", "UR", "U", "ND", "UJ")} | {
    "n.d.": "ND",
    "n.d": "ND",
    "n/d": "ND",
    "not detected": "ND",
}
_LONGEST_FLAG = 3  # letters of a flag; longer words that are not declared are a remark
_NUMBER = re.compile(r"[-+]?\d*\.?\d+(?:[eE][-+]?\d+)?\Z")


class RowError(Exception):
    """A lab row that cannot be used: reason from the closed list, and what exactly was wrong."""

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(reason)
        self.reason, self.detail = reason, detail


@dataclass(frozen=True)
class Number:
    """A result as written: number, qualifiers as read (null for none), whether the number is a detection limit."""

    value: float
    qualifier: str | None
    is_limit: bool
    is_estimated: bool = False


def folded(text: str | None) -> str:
    """Return text in lower case with single blanks, trimmed."""
    return " ".join((text or "").split()).lower()


def read(
    text: str, qualifier_text: str | None, layout: Layout, limit_text: str | None = None, local: Mapping[str, str] | None = None
) -> Number:
    """Read a result cell with its qualifiers, in the cell or in a column of their own, and its limit's column.

    Where a result was not detected the number is its limit: what stands behind "<" in the cell, else the limit's column,
    else the number in the cell. A number beside a limit but without a qualifier is a number. `local` maps folded words of
    the plant file to qualifiers. RowError "text in number" for anything else, "qualifier rejects result" for R, "value
    outside physical range" below zero.
    """
    if not qualifier_text and _NUMBER.match(plain := _plain(text.strip(), layout)) and not plain.startswith("-"):
        return Number(_finite(plain, text), None, is_limit=False)
    known = {**_SIGNS, **_LETTERS, **(local or {})}
    rest, told = _peeled(text, known)
    has_sign = "<" in told
    told += [w for w in _flags(qualifier_text, known) if w not in told]
    if REJECTS & set(told):
        raise RowError("qualifier rejects result", " ".join([text, qualifier_text or ""]).strip())
    is_limit, number = bool(NON_DETECTS & set(told)), rest
    if is_limit and (limit_text or "").strip() and not (has_sign and rest):
        number = _peeled(limit_text or "", _SIGNS)[0]
    plain = _plain(number, layout)
    if not _NUMBER.match(plain) or (rest and not _NUMBER.match(_plain(rest, layout))):
        raise RowError("text in number", repr(text) + (": a non-detect needs its limit" if is_limit and not number else ""))
    if float(plain) < 0.0:
        raise RowError("value outside physical range", repr(text))
    return Number(_finite(plain, text), ",".join(told) or None, is_limit, bool(ESTIMATED & set(told)))


def _finite(plain: str, text: str) -> float:
    """Return a number; RowError "text in number" for one with an exponent no measurement has (21.1e9994)."""
    value = float(plain)
    if not math.isfinite(value):
        raise RowError("text in number", repr(text))
    return value


def _peeled(text: str, known: Mapping[str, str]) -> tuple[str, list[str]]:
    """Return (cell without the qualifiers around its number, those qualifiers without repeats, in order)."""
    rest, before, after = " ".join(text.split()), list[str](), list[str]()
    words = sorted(known, key=len, reverse=True)
    while rest:
        low = rest.lower()
        head = next((w for w in words if low.startswith(w) and _ends_a_word(w, low[len(w) :][:1])), None)
        if head is not None:
            before.append(known[head])
            rest = rest[len(head) :].strip()
            continue
        tail = next((w for w in words if w not in _SIGNS and low.endswith(w) and _ends_a_word(w, low[: -len(w)][-1:])), None)
        if tail is None:
            break
        after.insert(0, known[tail])
        rest = rest[: -len(tail)].strip(" ,;/")
    return rest, list(dict.fromkeys(before + after))


def _ends_a_word(word: str, beside: str) -> bool:
    """Return whether a word is not merely part of a longer one, by the letter beside it."""
    return word in _SIGNS or not beside.isalpha()


def _flags(text: str | None, known: Mapping[str, str]) -> list[str]:
    """Return the qualifiers of a qualifier column; unknown words, such as a local letter or a remark, are kept unchanged.

    A remark is not a list of flags: the R in "see book R" rejects nothing.
    """
    whole = folded(text)
    if not whole:
        return []
    parts = [w for w in re.split(r"[\s,;/+]+", whole) if w]
    if whole in known or any(w not in known and len(w) > _LONGEST_FLAG for w in parts):
        return [known.get(whole, whole.upper())]
    return list(dict.fromkeys(known.get(w, w.upper()) for w in parts))


def _plain(text: str, layout: Layout) -> str:
    """Return a number as Python reads it; a sign the layout does not declare stays and makes the cell unreadable."""
    if layout.thousands:
        text = text.replace(layout.thousands, "")
    if layout.decimal == ",":
        return text.replace(".", "?").replace(",", ".")
    return text
