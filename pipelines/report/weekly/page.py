"""The weekly page put together: facts and charts to what the template prints, and the PDF of it."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

from pipelines import __version__
from pipelines.plant.model import PlantFile
from pipelines.report.cautions import CAUTIONS, SHORT
from pipelines.report.weekly import charts
from pipelines.report.weekly.facts import KpiRow, LineFacts, floor_pct, spoken
from pipelines.report.weekly.figures import range_bar
from pipelines.report.weekly.read import Row, WeekData
from pipelines.report.weekly.standing import FINAL, FINAL_BUT

# Room for flags below the charts of a line, and how the table fills it; what does not fit follows after the last line.
FLAG_ROOM_MM, ROW_MM, TEXT_LINE_MM, SEEN_CHARACTERS, LOOK_CHARACTERS = 44.0, 2.4, 3.2, 40, 31
MOST_LATER_FLAGS = 20  # more are counted
FEW_LATER_FLAGS = 6  # so many stand together with the cautions, on one page
# Below the charts of the last line the cautions follow on the same page: what they leave on US letter; A4 is higher by as much as they need.
LAST_ROOM_MM, MARKS_MM, NOTE_CHARACTERS = 38.0, 5.0, 150
LEGEND = (
    "Place: hatched the usual range, ticks the targets, filled mark this week, circle last week; an arrow lies beyond the scale. "
    "Usual ranges and targets are those of the plant file. ± holds about 95 % (k = 2); prices count as exact."
)


def content(week: WeekData, lines: tuple[LineFacts, ...], plant_file: PlantFile) -> dict[str, Any]:
    """Return everything the template prints; `withheld` is the reason when no line can be reported."""
    us = plant_file.plant.units == "US"
    reported = [line for line in lines if line.withheld is None]
    withheld = None if reported else _whole_reason(lines)
    known = f"{week.known_utc.astimezone(week.zone):%Y-%m-%d %H:%M}"
    fits = [fitting(line.data.flags, _room(line, us and line is reported[-1])) for line in reported]
    later = [_flag(week, f) | {"line": line.data.name} for line, fit in zip(reported, fits, strict=True) for f in line.data.flags[fit:]]
    first, after = week.start_utc.astimezone(week.zone), week.end_utc.astimezone(week.zone)
    return {
        "title": f"{week.name}: sludge dewatering, week {week.iso_week}",
        "description": f"Weekly page of {week.name}, data known as at {known}",
        "region": "US" if us else "GB",
        "paper": "us-letter" if us else "a4",
        "heading": f"{week.name}: sludge dewatering",
        "week": f"Reporting week {week.iso_week}: {_when(first)} to {_when(after)}, {week.zone.key}.",
        "lines": f"{'Line' if len(lines) == 1 else 'Lines'}: {', '.join(x.name for x in week.lines)}.",
        "known": f"Data known as at {known}; rows of the week set aside: {week.rows_set_aside:,}.",
        "standing": "withheld" if withheld else _standing(reported),
        "invented": plant_file.plant.invented,
        "footer": f"{week.plant} {week.iso_week}, flocledger {__version__}, plant file {week.plant_file_id}, data {_versions(lines)}",
        "withheld": withheld,
        "reasons": [f"{line.data.name}: {line.withheld}." for line in lines if line.withheld] if withheld else [],
        "remedies": [
            "See that the nightly exports and lab sheets of these days lie in the inbox of the plant, then run the nightly again.",
            "Look at the rows set aside and at the table data_quality for the signals that are missing.",
        ],
        "blocks": [_block(week, line) for line in lines] if not withheld else [],
        "dense": len(lines) > 1,
        "quality": _quality(lines[0]) if len(lines) == 1 and not withheld else [],
        "legend": LEGEND,
        "short_caution": SHORT,
        "pages": [_page(week, line, fit) for line, fit in zip(reported, fits, strict=True)],
        "later_flags": later[:MOST_LATER_FLAGS],
        "is_short_end": len(later) <= FEW_LATER_FLAGS,
        "more_flags": max(0, len(later) - MOST_LATER_FLAGS),
        "cautions": list(CAUTIONS),
    }


def _standing(reported: list[LineFacts]) -> str:
    """Return the word beside the heading; where not all lines are provisional, with those that are."""
    provisional = [line.data.name for line in reported if line.standing is not None and line.standing.is_provisional]
    if provisional:
        return "provisional" if len(provisional) == len(reported) else f"provisional: {', '.join(provisional)}"
    return FINAL_BUT if any(line.open_items for line in reported) else FINAL


def _whole_reason(lines: tuple[LineFacts, ...]) -> str:
    reasons = {line.withheld or "" for line in lines}
    return reasons.pop() if len(reasons) == 1 else "no line has enough data"


def _when(at: datetime) -> str:
    return f"{at:%a} {at.day} {at:%b %Y %H:%M}"


def _versions(lines: tuple[LineFacts, ...]) -> str:
    return ", ".join(sorted({line.data.this["data_version"] for line in lines if line.data.this})) or "none"


def _block(week: WeekData, line: LineFacts) -> dict[str, Any]:
    return {
        "heading": line.data.name,
        "withheld": line.withheld,
        "sentences": list(line.sentences),
        "rows": [_row(r) for r in line.rows],
        "items": [
            {
                "severity": f["severity"],
                "since": _short(week, f["start_utc"]),
                "what": _ended(f["sentence"]),
                "look": _ended(f["suggestion"]),
            }
            for f in line.open_items
        ],
        "more": line.more_items,
        "data_line": line.data_line,
    }


def _row(row: KpiRow) -> dict[str, Any]:
    bar = None if row.this_shown is None else range_bar(row.this_shown, row.last_shown, row.printed, row.limits)
    return {
        "label": row.printed.label, "unit": row.printed.unit, "basis": row.basis, "this": row.this, "within": row.within, "last": row.last, "usual": row.usual,
        "target": row.target, "bar": bar, "extra": row.extra, "last_extra": row.last_extra,
        "words": "; ".join([*row.words, *(["provisional"] if row.provisional else []), *(["feed TS held"] if row.held else [])]),
        "bar_alt": f"{row.printed.label}: {' '.join([row.this, row.within]).strip()}, usual range {row.usual}, target {row.target}",
    }  # fmt: skip


def _short(week: WeekData, at: datetime) -> str:
    local = at.astimezone(week.zone)
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def _ended(sentence: str) -> str:
    return sentence.strip().rstrip(".") + "."


def _page(week: WeekData, line: LineFacts, fit: int) -> dict[str, Any]:
    return {
        "heading": f"{line.data.name}: the last {charts.SHOWN_WEEKS} weeks",
        "charts": charts.of_line(week, line),
        "flags": [_flag(week, f) for f in line.data.flags[:fit]],
        "later": len(line.data.flags) - fit,
    }


def _room(line: LineFacts, is_tight: bool) -> float:
    """Return the room for flags below the charts of a line [mm]; `is_tight` where the cautions need theirs below."""
    if not is_tight:
        return FLAG_ROOM_MM
    noted = math.ceil(len(charts.notes(line.logged)) / NOTE_CHARACTERS)
    return LAST_ROOM_MM - (MARKS_MM + TEXT_LINE_MM * noted if noted else 0.0)


def fitting(flags: tuple[Row, ...], room_mm: float = FLAG_ROOM_MM) -> int:
    """Return how many of the flags fit below the charts, by the length of their texts; the first always does."""
    used, count = 0.0, 0
    for f in flags:
        lines = max(math.ceil(len(f["sentence"]) / SEEN_CHARACTERS), math.ceil(len(f["suggestion"]) / LOOK_CHARACTERS), 1)
        used += ROW_MM + TEXT_LINE_MM * lines
        if count and used > room_mm:
            break
        count += 1
    return count


def _quality(line: LineFacts) -> list[dict[str, str]]:
    """Return the signals of a line with what is known of them in the week."""
    return [
        {
            "role": spoken(q["role"]),
            "covered": "-" if q["covered_share"] is None else f"{floor_pct(q['covered_share'])} %",
            "missed": f"{q['missing_processing_minutes']:,} of {q['processing_minutes']:,}",
            "gap": f"{q['longest_gap_min']:,} min",
        }
        for q in line.data.quality
    ]


def _flag(week: WeekData, flag: Row) -> dict[str, str]:
    return {
        "start": _short(week, flag["start_utc"]), "minutes": f"{flag['minutes']:,}", "severity": flag["severity"], "what": _ended(flag["sentence"]),
        "look": _ended(flag["suggestion"]), "disposition": flag["disposition"] or "open",
    }  # fmt: skip
