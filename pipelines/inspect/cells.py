"""Analyse cells of a new file: how numbers are written, which columns are qualities or remarks, what means no value."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pipelines.inspect import words

NUMBER = re.compile(r"^=?'?\"?[+-]?(\d+([.,'\u00a0\u202f ]\d+)*|[.,]\d+)([eE][+-]?\d+)?\"?$")
_AFFIX = re.compile(r"^[\s._\-:/(\[]*(q|qual|quality|status|st|flag|valid|validity)[\s._\-:/)\]]*$", re.IGNORECASE)
_WORD = re.compile(r"q|st|flag|valid", re.IGNORECASE)  # what any affix of a quality column has
_REMARKS = re.compile(words.REMARKS, re.IGNORECASE)
_NO_VALUE = re.compile(r"^(-+|\*+|\.+|n/?a|nan|null|none|#n/a|no data|nodata|n\.a\.|m|missing|msng|\?+)$", re.IGNORECASE)
_FILLS = ("-9999", "-9999.0", "-999", "-999.0", "-999.9", "-99.9", "9999", "99999", "999999", "-9999.9")
_WORDS_OF_A_REMARK = 3  # a state is told in fewer
_STATES = 12  # more different words are no states
_GROUPS = {  # sign -> whole groups of three, and what may follow
    ",": re.compile(r"^[+-]?\d{1,3}(,\d{3})+(\.\d+)?$"),
    ".": re.compile(r"^[+-]?\d{1,3}(\.\d{3})+(,\d+)?$"),
    " ": re.compile(r"^[+-]?\d{1,3}([ \u00a0\u202f]\d{3})+([.,]\d+)?$"),
    "'": re.compile(r"^[+-]?\d{1,3}('\d{3})+([.,]\d+)?$"),
}


@dataclass(frozen=True)
class Signs:
    """Decimal sign and thousands sign of a file's numbers, and what stays open."""

    decimal: str
    thousands: str | None = None
    question: str | None = None


def signs(cells: Iterable[str]) -> Signs:
    """Return how numbers are written. One group of three behind a comma alone could be either: that is asked."""
    seen = [c.strip().lstrip("'=").strip('"') for c in cells]
    commas = [c for c in seen if re.fullmatch(r"[+-]?\d*,\d+", c)]
    points = [c for c in seen if re.fullmatch(r"[+-]?\d*\.\d+", c)]
    for thousands, decimal in ((",", "."), (".", ",")):
        sure = rf"[+-]?\d{{1,3}}({re.escape(thousands)}\d{{3}})+{re.escape(decimal)}\d+|[+-]?\d{{1,3}}({re.escape(thousands)}\d{{3}}){{2,}}"
        if any(re.fullmatch(sure, c) for c in seen):
            return Signs(decimal, thousands)
    for thousands in (" ", "'"):
        if any(_GROUPS[thousands].fullmatch(c) for c in seen):
            return Signs("," if len(commas) > len(points) or any(re.search(r",\d+$", c) for c in seen) else ".", thousands)
    comma_groups = [c for c in commas if _GROUPS[","].fullmatch(c)]
    if commas and len(comma_groups) == len(commas):
        if points:
            return Signs(".", ",", "do commas part thousands, so that 1,234 is one thousand two hundred and thirty-four?")
        return Signs(",", None, 'is 1,234 one and a bit (proposed), or one thousand two hundred and thirty-four (thousands = ",")?')
    return Signs("," if len(commas) > len(points) else ".")


def quality_columns(names: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[str | None, str | None, set[int]]:
    """Return (quality_name, quality_column, positions of the quality columns) of a wide file."""
    found: Counter[str] = Counter()
    worded = [name for name in names if _WORD.search(name)]
    for name in names:
        for other in worded:
            if name and other != name and name in other:
                before, _, behind = other.partition(name)
                if not before and _AFFIX.match(behind):
                    found["{tag}" + behind] += 1
                elif not behind and _AFFIX.match(before):
                    found[before + "{tag}"] += 1
    if found:
        pattern = found.most_common(1)[0][0]
        beside = {pattern.replace("{tag}", n) for n in names if n}
        at = {i for i, n in enumerate(names) if n in beside}
        return pattern, None, at
    if named := _after_first_words(names, rows):
        return named[0], None, named[1]
    often = Counter(names)
    for word in dict.fromkeys(names):
        at = {i for i, n in enumerate(names) if n == word}
        if (
            word
            and 0 not in at
            and (word.lower() in words.QUALITY or often[word] > 1)
            and not are_states({row[i] for row in rows for i in at if i < len(row)})
            and all(_few_words(rows, i) for i in at)
        ):
            return None, word, at
    return None, None, set()


def _after_first_words(names: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[str, set[int]] | None:
    """Return ("{word} Status", positions) where columns called after the first word of others hold quality words."""
    split = [n.split(maxsplit=1) for n in names]
    first = Counter(parts[0] for parts in split if parts)
    for ending in dict.fromkeys(parts[1] for parts in split if len(parts) > 1 and parts[1].lower() in words.QUALITY):
        at = {i for i, parts in enumerate(split) if parts[1:] == [ending] and first[parts[0]] > 1}
        said = {row[i] for row in rows for i in at if i < len(row)}
        told = sorted_words(said)
        if (told["good"] or told["bad"]) and len(said) <= _STATES and not any(are_states([word]) for word in said):
            return "{word} " + ending, at
    return None


def are_states(texts: Iterable[str]) -> bool:
    """Return whether all words say on or off."""
    shown = {t.strip().lower() for t in texts if t}
    return bool(shown) and shown <= {*words.ON, *words.OFF}


def is_beside(name: str, names: Sequence[str], rows: Sequence[Sequence[str]]) -> bool:
    """Return whether columns that share a name are words beside the column to their left: qualities, not values."""
    if name.lower() in words.QUALITY:
        return True
    at = [i for i, n in enumerate(names) if n == name]
    is_parted = 0 not in at and all(b - a > 1 for a, b in pairwise(at))
    return is_parted and all(_few_words(rows, i) and not any(NUMBER.match(row[i]) for row in rows if i < len(row)) for i in at)


def _few_words(rows: Sequence[Sequence[str]], at: int) -> bool:
    return len({row[at] for row in rows if at < len(row)}) <= _STATES


def is_lot(name: str) -> bool:
    """Return whether a column is called a lot: its texts tell deliveries apart and measure nothing."""
    return re.sub(r"[\s.:#]*(no|nr|n°|nº|number|id)?[\s.:#]*$", "", name.lower()) in words.LOT


def holds_numbers(texts: Iterable[str]) -> bool:
    """Return whether any text is a number, or one behind a sign such as <."""
    return any(NUMBER.match(t.lstrip("<>~ ")) for t in texts if t)


def is_remark(name: str) -> bool:
    """Return whether a column is called remarks."""
    return bool(_REMARKS.search(name))


def remark_columns(names: Sequence[str], rows: Sequence[Sequence[str]], skip: set[int]) -> list[str]:
    """Return the columns of a wide file that hold remarks: texts of several words, or so named."""
    found = []
    for i, name in enumerate(names):
        texts = [row[i] for row in rows if i < len(row) and row[i]]
        if i in skip or not name or any(NUMBER.match(t) for t in texts):
            continue
        wordy = any(len(t.split()) >= _WORDS_OF_A_REMARK for t in texts) or len(set(texts)) > _STATES
        if _REMARKS.search(name) or wordy:
            found.append(name)
    return found


def fill_values(columns: Iterable[Sequence[str]]) -> list[str]:
    """Return the texts that mean no value, from columns that are mostly numbers."""
    found: Counter[str] = Counter()
    for texts in columns:
        shown = [t for t in texts if t]
        numbers = sum(bool(NUMBER.match(t)) for t in shown)
        if numbers * 2 <= len(shown):
            continue
        found.update(t for t in shown if _NO_VALUE.match(t) or t in _FILLS)
    return [text for text, _ in found.most_common(6)]


def sorted_words(seen: Iterable[str]) -> dict[str, list[str]]:
    """Return quality words as good, uncertain, bad; a word of no known meaning is uncertain, which is asked."""
    out: dict[str, list[str]] = {"good": [], "uncertain": [], "bad": []}
    for word in sorted({w for w in seen if w}):
        out[_quality(word.lower().strip())].append(word)
    return out


_LETTERS = {"g": "good", "u": "uncertain", "b": "bad", "x": "bad", "v": "good", "1": "good", "0": "uncertain"}


def _quality(word: str) -> str:
    if word in _LETTERS:
        return _LETTERS[word]
    if any(b in word for b in words.BAD):
        return "bad"
    if word.startswith(words.GOOD):
        return "good"
    number = int(word, 16) if re.fullmatch(r"0x[0-9a-f]{1,8}", word) else int(word) if word.isdigit() else None
    if number is None:
        return "uncertain"
    severity = number >> 30 if number > 0xFF or len(word) == 10 else {3: 0, 1: 1}.get(number >> 6, 2)  # OPC UA, or classic 8 bits
    return ("good", "uncertain", "bad", "bad")[severity]


def ticket_columns(names: Sequence[str]) -> list[str]:
    """Return the column of net weights where names are those of scale tickets: a net weight beside a gross, a tare or a ticket."""
    folded = [(n, set(re.findall(r"[^\W\d_]+", n.lower()))) for n in names]
    net = [n for n, said in folded if said & set(words.NET)]
    others = any(said & set(words.TICKET) for n, said in folded if n not in net)
    return net[:1] if others else []


def is_analyte(name: str) -> bool:
    """Return whether the name of a lab sheet's column says an analyte, a point or a unit of results."""
    folded = name.lower()
    is_said = any(re.search(rf"(?<![a-z]){re.escape(word)}(?![a-z])", folded) for word in words.LAB)
    return is_said or "%" in folded or "mg/l" in folded or "g/l" in folded
