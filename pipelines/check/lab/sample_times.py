"""Sample times as stated by the sheet: a moment, a window, a shift, or the operating day.

A time that is not known is a span, not a point (common practice, no source). Spans are half-open, [from_utc, to_utc).
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from pipelines.check.lab.qualifiers import RowError, folded
from pipelines.plant import layout_checks
from pipelines.plant.model import Layout, PlantFile

LONGEST_WINDOW = timedelta(days=7)  # a composite over more than a week is a slip (common practice, no source)
_FIRST_YEAR, _LAST_YEAR = 1900, 9998  # a year outside these is not a time stamp
_DAY = timedelta(days=1)
_NOON, _MIDNIGHT = time(12), time(0)
_HALVES = {"am": (_MIDNIGHT, _NOON), "pm": (_NOON, _MIDNIGHT)}  # of the calendar day, where no shift has these words
_HAS_TIME = re.compile(r"%[HITRcX]|%-?[HI]|epoch|serial")  # formats that state a time of day
_TIMES_OF_DAY = ("%H:%M", "%H:%M:%S", "%I:%M %p")
_OTHER_FORMATS = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d")


def when(row: dict[str, Any], layout: Layout, plant_file: PlantFile) -> dict[str, Any]:
    """Return from_utc, to_utc, half_width_h, operating_day and time_basis of a row, and the name of its shift (None: no shift).

    A stated window comes first, then a stated time of day, then the shift, else the whole operating day of the date.
    RowError "unknown shift word"; "time stamp unreadable" for an impossible window.
    """
    stated = row["time_utc"]
    day = stated.astimezone(zone_of(layout, plant_file)).date()
    if row.get("window_from") or row.get("window_to"):
        return _window(row, day, layout, plant_file)
    has_time = (":" in (row["stamp_text"] or "")) if layout.time_format == "iso8601" else bool(_HAS_TIME.search(layout.time_format))
    if plant_file.lab.time_is_stated and has_time:
        return _span(stated, stated, plant_file.calendar.operating_day(stated), "stated")
    if row.get("shift_text"):
        return _shift(row["shift_text"], day, plant_file)
    return _span(plant_file.calendar.day_start(day), plant_file.calendar.day_end(day), day, "day")


def _span(start: datetime, end: datetime, day: date, basis: str, shift: str | None = None) -> dict[str, Any]:
    half_h = (end - start) / timedelta(hours=2)
    return {"from_utc": start, "to_utc": end, "half_width_h": half_h, "operating_day": day, "time_basis": basis, "shift": shift}


def label(span: dict[str, Any], plant_file: PlantFile) -> str:
    """Return the label of a sample without a number: its day, day and shift, or local time or window."""
    if span["time_basis"] == "day":
        return str(span["operating_day"])
    if span["time_basis"] == "shift":
        return f"{span['operating_day']}/{span['shift']}"
    ends = [span["from_utc"]] if span["time_basis"] == "stated" else [span["from_utc"], span["to_utc"]]
    return "--".join(at.astimezone(plant_file.calendar.zone).isoformat(timespec="minutes") for at in ends)


def _shift(text: str, day: date, plant_file: PlantFile) -> dict[str, Any]:
    """Return the span of a shift within the operating day: its longest piece there, when the day's start cuts it."""
    name, begin, end = _shift_of(text, plant_file)
    first, last = plant_file.calendar.day_start(day), plant_file.calendar.day_end(day)
    pieces = []
    for calendar_day in (day - _DAY, day, day + _DAY):
        ends_on = calendar_day if begin < end else calendar_day + _DAY
        start = max(datetime.combine(calendar_day, begin, plant_file.calendar.zone).astimezone(UTC), first)
        stop = min(datetime.combine(ends_on, end, plant_file.calendar.zone).astimezone(UTC), last)
        pieces.append((stop - start, start, stop))
    _, start, stop = max(pieces, key=lambda p: (p[0], -p[1].timestamp()))
    return _span(start, stop, day, "shift", name)


def _shift_of(text: str, plant_file: PlantFile) -> tuple[str, time, time]:
    """Return name, begin and end of the shift that a word of the sheet means."""
    word, roster = folded(text), {s.name.lower(): s for s in plant_file.plant.shifts}
    meant = next((name.lower() for name, words in plant_file.lab.shift_words.items() if word in {folded(w) for w in words}), word)
    if meant in roster:
        shift = roster[meant]
        return shift.name, shift.start, shift.end
    if meant.replace(".", "") in _HALVES:
        return meant.replace(".", "").upper(), *_HALVES[meant.replace(".", "")]
    raise RowError("unknown shift word", repr(text))


def _window(row: dict[str, Any], day: date, layout: Layout, plant_file: PlantFile) -> dict[str, Any]:
    """Return the stated window of a composite; its operating day is that of its middle."""
    said = f"window {row.get('window_from') or ''!r} to {row.get('window_to') or ''!r}"
    start, _ = _end_of_window(row.get("window_from"), day, layout, plant_file, is_end=False)
    stop, is_bare = _end_of_window(row.get("window_to"), day, layout, plant_file, is_end=True)
    if start is None or stop is None:
        raise RowError("time stamp unreadable", f"{said}: both ends are needed, as {layout.time_format!r} or as HH:MM")
    if is_bare and stop <= start:
        stop, _ = _end_of_window(row.get("window_to"), day + _DAY, layout, plant_file, is_end=True)
    if stop is None or not timedelta(0) <= stop - start <= LONGEST_WINDOW:
        raise RowError("time stamp unreadable", f"{said}: ends before it begins, or is longer than {LONGEST_WINDOW.days} days")
    if start == stop:
        return _span(start, start, plant_file.calendar.operating_day(start), "stated")
    return _span(start, stop, plant_file.calendar.operating_day(start + (stop - start) / 2), "composite")


def _end_of_window(text: str | None, day: date, layout: Layout, plant_file: PlantFile, *, is_end: bool) -> tuple[datetime | None, bool]:
    """Return (an end of a window, whether the text was a bare time of day). Of the repeated hour the window takes all."""
    is_bare, at = False, _parsed(text or "", layout)
    if at is None:
        of_day = _read(text or "", _TIMES_OF_DAY)
        is_bare, at = of_day is not None, datetime.combine(day, of_day.time()) if of_day else None
    if at is None:
        return None, False
    if at.tzinfo is None:
        at = at.replace(tzinfo=zone_of(layout, plant_file), fold=int(is_end))
        if at.astimezone(UTC).astimezone(at.tzinfo).replace(tzinfo=None) != at.replace(tzinfo=None):
            raise RowError("local time does not exist", repr(text))
    return at.astimezone(UTC), is_bare


def _parsed(text: str, layout: Layout) -> datetime | None:
    """Return a stamp in the layout's format or as ISO 8601 writes it, naive where it says no zone."""
    if layout.time_format != "iso8601" and not _HAS_TIME.search(layout.time_format):
        return _read(text, _OTHER_FORMATS[:2])
    return _read(text, (layout.time_format, *_OTHER_FORMATS[:2]))


def _read(text: str, formats: tuple[str, ...]) -> datetime | None:
    """Return a text in the first format that fits (a bare time of day gets the year 1900); None when none does."""
    for form in formats:
        try:
            at = datetime.fromisoformat(text.strip()) if form == "iso8601" else datetime.strptime(text.strip(), form)  # noqa: DTZ007
        except ValueError:
            continue
        return at if _FIRST_YEAR <= at.year <= _LAST_YEAR else None
    return None


def zone_of(layout: Layout, plant_file: PlantFile) -> tzinfo:
    """Return the zone in which a layout writes its times."""
    if layout.time_zone == "plant":
        return plant_file.calendar.zone
    offset = layout_checks.fixed_offset(layout.time_zone)
    return ZoneInfo(layout.time_zone) if offset is None else timezone(offset)


def reported(text: str | None, layout: Layout, plant_file: PlantFile) -> datetime | None:
    """Return when the lab says it reported, in the zone of the layout; None when it does not say or cannot be read."""
    if not text:
        return None
    at = _read(text, (layout.time_format, *_OTHER_FORMATS))
    return None if at is None else (at if at.tzinfo else at.replace(tzinfo=zone_of(layout, plant_file))).astimezone(UTC)


def days_of(result: dict[str, Any], plant_file: PlantFile) -> set[date]:
    """Return the operating days of a result: its own, and all that its window covers."""
    if result["time_basis"] != "composite":
        return {result["operating_day"]}
    first = plant_file.calendar.operating_day(result["from_utc"])
    last = plant_file.calendar.operating_day(result["to_utc"] - timedelta(microseconds=1))
    return {first + k * _DAY for k in range((last - first).days + 1)} | {result["operating_day"]}
