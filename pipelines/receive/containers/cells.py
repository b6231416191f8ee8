"""Cells of a workbook as text: numbers in full, dates as their number format shows them, written as the layout writes dates.

A workbook keeps a date as a number of days; that it is a date shows in its number format alone (ECMA-376 Part 1, 18.8.30).
What the format shows (a date, a time of day, both) is what the cell says. It is written in the layout's `time_format`, so
one layout reads the workbook and the CSV saved from it; where that would lose something, or the format is "iso8601",
as ISO 8601 text (2026-01-05T06:30:00, 2026-01-05, 06:30:00). With a date and a time column, each gets its part of the format.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Literal

from pipelines.plant.model import Layout

Shows = Literal["date", "time", "both", "elapsed"]
LONGEST_CELL = 32_767  # characters of a cell: the limit of the format
_DAY_ZERO_1900, _DAY_ZERO_1904 = datetime(1899, 12, 30), datetime(1904, 1, 1)  # noqa: DTZ001  wall clock
_DAYS_1904 = 1_462  # days between the two day zeros
_MARCH_1900 = 61  # serial days before it count a 29 February 1900 that never was
_LAST_DAY = 2_958_466  # 9999-12-31 and less than a day
# Number formats without a code in the file (ECMA-376 Part 1, 18.8.30, and the date formats of East Asian locales there).
_BUILT_IN: dict[int, Shows] = {
    **dict.fromkeys((14, 15, 16, 17, *range(27, 32), 36, *range(50, 55), 57, 58), "date"),
    **dict.fromkeys((18, 19, 20, 21, *range(32, 36), 45, 47, 55, 56), "time"),
    22: "both", 46: "elapsed",
}  # fmt: skip
_BUILT_IN_FRACTION = (47,)  # mmss.0
_NOT_SHOWN = re.compile(r'"[^"]*"|\\.|_.|\*.|am/pm|a/p|\[(?![hms]+\])[^\]]*\]', re.IGNORECASE | re.DOTALL)
_TIME_DIRECTIVE = re.compile(r"%[-#]?[HIMSpfTRXklcsrP]")
_DATE_DIRECTIVE = re.compile(r"%[-#]?[aAbBdmyYjDFeGuUVWwxh]")


@dataclass(frozen=True)
class NumberFormat:
    """What a number format makes of a number that is a date."""

    shows: Shows
    has_fraction: bool  # fractions of a second


def number_format(number: int, code: str | None) -> NumberFormat | None:
    """Return what a number format (its id, its code where the file gives one) shows of a date; None when it is none."""
    if code is None:
        shows = _BUILT_IN.get(number)
        return None if shows is None else NumberFormat(shows, number in _BUILT_IN_FRACTION)
    plain = _NOT_SHOWN.sub("", code.split(";")[0]).lower()
    if plain.strip() in ("general", "@"):
        return None
    if re.search(r"\[[hms]+\]", plain):
        return NumberFormat("elapsed", bool(re.search(r"s\]?\.0", plain)))
    has_time, has_day = bool(re.search("[hs]", plain)), bool(re.search("[yd]", plain))
    if not has_time and not has_day and "m" not in plain:
        return None
    shows = "both" if has_time and has_day else "time" if has_time else "date"
    return NumberFormat(shows, "s.0" in plain)


def number_text(raw: str, decimal: str) -> str:
    """Return a stored number with all its digits and without exponent, as short as it can be; what is none stays as it is."""
    try:
        value = float(raw)
    except ValueError:
        return raw
    if "_" in raw or value != value or value in (float("inf"), float("-inf")):
        return raw
    text = repr(value)
    text = format(Decimal(text), "f") if "e" in text else text.removesuffix(".0")
    return text.replace(".", ",") if decimal == "," else text


@dataclass(frozen=True)
class DateWriter:
    """Writes dates of a workbook as a layout reads them."""

    layout: Layout
    is_1904: bool

    def serial(self, raw: str, shown: NumberFormat) -> str:
        """Return a stored number of days as text; a number that is no date the calendar has stays a number."""
        try:
            days = float(raw)
        except ValueError:
            return raw
        if not 0 <= days < _LAST_DAY or (not self.is_1904 and int(days) == _MARCH_1900 - 1):
            return number_text(raw, self.layout.decimal)
        if self.layout.time_format == "serial day" and shown.shows != "elapsed":
            return number_text(repr(days + _DAYS_1904) if self.is_1904 and shown.shows != "time" else raw, self.layout.decimal)
        step = timedelta(milliseconds=1) if shown.has_fraction else timedelta(seconds=1)
        since_zero = round(timedelta(days=days) / step) * step
        if shown.shows == "elapsed":
            return _elapsed(since_zero)
        zero = _DAY_ZERO_1904 if self.is_1904 else _DAY_ZERO_1900
        if not self.is_1904 and 1 <= days < _MARCH_1900 - 1:
            zero += timedelta(days=1)
        try:
            return self.written(zero + since_zero, shown.shows)
        except OverflowError:
            return number_text(raw, self.layout.decimal)

    def iso(self, raw: str) -> str:
        """Return a cell that holds ISO 8601 text as a date (type "d")."""
        try:
            when = datetime.fromisoformat(raw)
        except ValueError:
            return raw
        return raw if when.tzinfo else self.written(when, "both" if "T" in raw or ":" in raw else "date")

    def written(self, when: datetime, shows: Shows) -> str:
        """Return a date, a time of day or both by the layout's format, or else as ISO 8601 text."""
        if shows == "date":
            when = datetime(when.year, when.month, when.day)  # noqa: DTZ001  wall clock
        form = self._forms.get(shows)
        if form is not None:
            text = when.strftime(form)
            if _reads_back(text, form, when, shows):
                return text
        precision = "milliseconds" if when.microsecond else "seconds"
        return {"date": when.date().isoformat(), "time": when.time().isoformat(precision)}.get(shows) or when.isoformat("T", precision)

    @cached_property
    def _forms(self) -> dict[str, str]:
        """Return the format of each kind of cell: whole, or its parts where the layout has a date and a time column."""
        whole = self.layout.time_format
        if "%" not in whole or "%z" in whole:
            return {}
        if self.layout.date_column is None:
            return {"both": whole, "date": whole}
        for blank in (m.start() for m in re.finditer(" ", whole)):
            day, clock = whole[:blank], whole[blank + 1 :]
            if not _TIME_DIRECTIVE.search(day) and not _DATE_DIRECTIVE.search(clock):
                return {"date": day, "time": clock, "both": whole}
        return {}


def _reads_back(text: str, form: str, when: datetime, shows: Shows) -> bool:
    try:
        again = datetime.strptime(text, form)  # noqa: DTZ007  wall clock
    except ValueError:
        return False
    return again.time() == when.time() if shows == "time" else again == when


def _elapsed(span: timedelta) -> str:
    minutes, seconds = divmod(span.total_seconds(), 60)
    text = f"{int(minutes // 60):02d}:{int(minutes % 60):02d}:{seconds:06.3f}"
    return text.removesuffix(".000")
