"""Validate encoding, time zone, time format and marks of a layout block when the plant file is read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

NAMED_FORMATS = ("iso8601", "epoch s", "epoch ms", "serial day")
_OFFSET = re.compile(r"(?:UTC)?([+-])(\d\d):?(\d\d)")
_LARGEST_OFFSET_H = 14  # Kiribati; the other way it is 12
_DIRECTIVES = "aAbBhcdDeFfHIjklmMnpPrRsStTuUVwWxXyYzZ"  # strptime letters that some reader knows
_DAYS = re.compile(r"%[-_0]?([dejDFcxs])")
_YEARS = re.compile(r"%[-_0]?([yYDFcxs])")


def encoding(word: str) -> str:
    """Return the word; ValueError when it is no text encoding."""
    try:
        "".encode(word)
    except LookupError:
        raise ValueError(f"no text encoding is called {word!r}; encodings are such as utf-8, utf-16, cp1252, latin-1") from None
    return word


def time_zone(word: str) -> str:
    """Return the word; ValueError when it is neither plant, UTC, an offset such as +01:00, nor an IANA zone."""
    shift = fixed_offset(word)
    if word == "plant" or shift is not None:
        return word
    try:
        ZoneInfo(word)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError("neither plant, UTC, an offset such as +01:00, nor an IANA time zone") from None
    return word


def zone_column_fits(column: str | None, words: Mapping[str, str], stamp_format: str) -> None:
    """Raise ValueError where the zone of a row cannot be told: words without a column or an offset, stamps without a time of day."""
    if words and column is None:
        raise ValueError("zone_words are words of zone_column, which is missing")
    for word, offset in words.items():
        if fixed_offset(offset) is None:
            raise ValueError(f"zone_words: {word} = {offset!r} is no offset from UTC such as -05:00")
    if column is not None and not re.search("%[HIXcT]|iso8601", stamp_format):
        raise ValueError("zone_column needs stamps with a time of day")
    if column is not None and "%z" in stamp_format:
        raise ValueError("the stamps carry their own offset (%z); leave zone_column away")


def fixed_offset(word: str) -> timedelta | None:
    """Return how far a zone word is from UTC when that is the same all year (UTC, Z, +01:00, UTC-0530); else None.

    ValueError when no clock on Earth is so far.
    """
    if word.upper() in ("UTC", "Z"):
        return timedelta(0)
    found = _OFFSET.fullmatch(word)
    if found is None:
        return None
    if int(found[2]) > _LARGEST_OFFSET_H or int(found[3]) > 59:
        raise ValueError(f"no clock on Earth is {word} from UTC; offsets are such as -05:00 or +05:30")
    return timedelta(hours=int(found[2]), minutes=int(found[3])) * (1 if found[1] == "+" else -1)


def time_format(word: str) -> str:
    """Return the word; ValueError when no date can come of it."""
    if word in NAMED_FORMATS:
        return word
    unknown = [d for d in re.findall(r"%[-_0]?(\D|$)", word.replace("%%", "")) if d not in _DIRECTIVES or not d]
    if unknown:
        raise ValueError(
            f"%{unknown[0]} is no strptime directive; a format is such as %Y-%m-%d %H:%M, or one of: {', '.join(NAMED_FORMATS)}"
        )
    if not _DAYS.search(word) or not _YEARS.search(word):
        raise ValueError(f"says no whole date; a format is such as %Y-%m-%d %H:%M, or one of: {', '.join(NAMED_FORMATS)}")
    if re.search(r"%[-_0]?[Il]", word) and not re.search(r"%[pP]", word):
        raise ValueError("has 12-hour clock times without %p, which tells morning from afternoon")
    return word


def marks_differ(**marks: str | None) -> None:
    """Raise ValueError when two of the marks are one sign."""
    seen: dict[str, str] = {}
    for name, mark in marks.items():
        if mark is None or mark == BLANKS:
            continue
        if any(sign in "\r\n" for sign in mark):
            raise ValueError(f"{name} cannot be a line end")
        if (within := next((other for other in seen if other in mark or mark in other), None)) is not None and within != mark:
            raise ValueError(f"{name} and {seen[within]} share a sign")
        if mark in seen:
            raise ValueError(f"{name} is the same sign as {seen[mark]}")
        seen[mark] = name


def number_marks_differ(decimal: str, thousands: str | None) -> None:
    """Raise ValueError when decimal and thousands sign are one, or the latter is part of a number."""
    if thousands is None:
        return
    if thousands == decimal:
        raise ValueError(f"thousands is the same sign as decimal, {decimal!r}")
    if thousands.isalnum() or thousands in "+-":
        raise ValueError("thousands must be a sign that no number holds: a comma, a point, a blank or an apostrophe")


def quality_names_fit(kind: str, quality_name: str | None, quality_column: str | None) -> None:
    """Raise ValueError when quality_name is not of a wide layout, has neither {tag} nor {word}, or stands beside quality_column."""
    if quality_name is None:
        return
    if kind != "wide":
        raise ValueError(f"quality_name belongs to a wide layout; a {kind} layout has quality_column")
    beside = quality_name.replace("{tag}", "", 1) if "{tag}" in quality_name else quality_name.replace("{word}", "", 1)
    if beside == quality_name or "{tag}" in beside or "{word}" in beside or not beside.strip():
        raise ValueError("quality_name needs {tag} or {word} once and something beside it, such as '{tag} Q'")
    if quality_column is not None:
        raise ValueError("quality_name and quality_column are two ways to say the same; keep one")


BLANKS = "blanks"  # a delimiter: any run of blanks and tabs


def entity_fits(entity_column: str | None, entity_name: str, *, is_lab: bool) -> None:
    """Raise ValueError when entity_column stands in a lab layout, or entity_name lacks one of its two parts."""
    if entity_column is not None and is_lab:
        raise ValueError("entity_column belongs to long and wide exports; a lab sheet has line_column or point_column")
    if entity_name.count("{entity}") != 1 or entity_name.count("{tag}") != 1:
        raise ValueError("entity_name needs {entity} and {tag} once each, such as '{entity} {tag}'")


def column_names_fit(names: tuple[str, ...], needed: list[str], *, header_rows: int, unit_row: int | None) -> None:
    """Raise ValueError when the names of a file without a header row lack a column the layout names, or stand beside a header."""
    if not names:
        return
    if header_rows != 1 or unit_row is not None:
        raise ValueError("column_names are for a file without a header row: leave out header_rows and unit_row")
    twice = [name for name in names if name.strip() and names.count(name) > 1]
    if twice:
        raise ValueError(f"column_names has {twice[0]!r} more than once")
    lacking = [name for name in needed if name not in {n.strip() for n in names}]
    if lacking:
        raise ValueError(f"column_names lacks {lacking[0]!r}")
