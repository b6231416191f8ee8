"""Lab sheets: words to points and analytes, units, qualifiers, duplicates; one result per sample and analyte."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from statistics import fmean
from typing import Any

import polars as pl

from pipelines.plantfile import Layout, PlantFile

HIGHEST_FEED_TS_PCT = 15.0  # a feed sludge thicker than this is a slip of unit (common practice, no source)
MOISTURE_LIKE_PCT = 60.0  # a "cake solids" above this is probably moisture (common practice, no source)
VS_PCT = (30.0, 100.0)  # volatile solids as % of TS outside this are a slip (common practice, no source)
MG_L_ABOVE = 100.0  # a feed TS without unit above this is mg/L (common practice, no source)
_RESULT = re.compile(r"^\s*([<>~]?)\s*([-+]?[0-9]*[.,]?[0-9]+(?:[eE][-+]?[0-9]+)?)\s*([A-Za-z]*)\s*$")
_NON_DETECT = ("<", "U", "ND", "UJ")
_TO_PCT = {"%": 1.0, "mg/l": 1e-4, "g/l": 0.1, "g/kg": 0.1, "% of ts": 1.0, "fraction": 100.0}  # SG 1
_TO_MG_L = {"mg/l": 1.0, "g/l": 1000.0, "%": 1e4, "ppm": 1.0}


@dataclass(frozen=True)
class Refused:
    """A lab row that cannot be used, with its reason."""

    line_no: int
    reason: str
    detail: str
    analyte: str


class _RowError(Exception):
    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(reason)
        self.reason, self.detail = reason, detail


@dataclass(frozen=True)
class _Meant:
    line: str
    point: str
    analyte: str
    unit: str | None


def results(
    values: pl.DataFrame, layout: Layout, plant_file: PlantFile, received_utc: datetime
) -> tuple[list[dict[str, Any]], list[Refused]]:
    """Return (one dict a single result with line_no and the columns of lab_results, refused rows), in file order."""
    found: list[dict[str, Any]] = []
    refused: list[Refused] = []
    for row in values.to_dicts():
        try:
            found.append(_result(row, layout, plant_file, received_utc))
        except _RowError as error:
            refused.append(Refused(row["line_no"], error.reason, error.detail, row["column"] or row["analyte_text"] or ""))
    return found, refused


def _result(row: dict[str, Any], layout: Layout, plant_file: PlantFile, received_utc: datetime) -> dict[str, Any]:
    if row["time_reason"] or row["time_utc"] is None:
        raise _RowError(row["time_reason"] or "time stamp unreadable", str(row["stamp_text"]))
    meant = _meaning(row, layout, plant_file)
    when = _when(row["time_utc"], layout, plant_file)
    if when["from_utc"] > received_utc + timedelta(days=1):
        raise _RowError("time in the future", str(row["stamp_text"]))
    text = row["text"].replace(",", ".") if layout.decimal == "," else row["text"]
    value, qualifier = _value(text, row["qualifier_text"])
    analyte, value, unit, note = _stored(meant, value, row["unit_text"])
    limit = value if qualifier in _NON_DETECT else None
    if qualifier == "R":
        raise _RowError("qualifier rejects result", row["text"])
    stamp = row["time_utc"].astimezone(plant_file.zone).strftime("%Y-%m-%dT%H:%M")
    return {
        "line_no": row["line_no"],
        "sample_id": row["sample"] or f"{meant.line}/{meant.point}/{stamp}",
        "analyte": analyte,
        "line": meant.line,
        "point": meant.point,
        **when,
        "value": value / 2.0 if limit is not None else value,
        "unit": unit,
        "qualifier": qualifier,
        "detection_limit": limit,
        "method": " ".join(x for x in (row["method"], note) if x) or None,
        "crew": row["crew"],
        "reported_utc": _reported(row["reported_text"], layout, plant_file, received_utc),
    }


def _meaning(row: dict[str, Any], layout: Layout, plant_file: PlantFile) -> _Meant:
    if row["column"] is not None:
        for c in layout.results:
            inside = (
                plant_file.instant(c.since, datetime.min.replace(tzinfo=UTC))
                <= row["time_utc"]
                < plant_file.instant(c.until, datetime.max.replace(tzinfo=UTC))
            )
            if c.column == row["column"] and inside:
                return _Meant(c.line, c.point, c.analyte, c.unit)
        raise _RowError("unknown analyte", f"column {row['column']!r} means nothing on this date")
    point = _folded(row["point_text"])
    place = next((p for p in plant_file.lab.sample_points if point in {_folded(n) for n in p.names}), None)
    if place is None:
        raise _RowError("unknown sample point", repr(row["point_text"]))
    word = _folded(row["analyte_text"])
    named = next((a for a in plant_file.lab.analytes if word in {_folded(n) for n in a.names}), None)
    if named is None:
        raise _RowError("unknown analyte", repr(row["analyte_text"]))
    return _Meant(place.line, place.point, named.analyte, row["unit_text"] or named.unit)


def _folded(text: str | None) -> str:
    return " ".join((text or "").split()).lower()


def _value(text: str, qualifier_text: str | None) -> tuple[float, str | None]:
    """Return (number, qualifier); the qualifier may stand in the value cell or beside it."""
    match = _RESULT.match(text)
    flag = (qualifier_text or "").strip().upper() or None
    if match is None:
        if text.strip().upper() in ("ND", "U") or flag in ("ND", "U"):
            raise _RowError("text in number", f"{text!r}: a non-detect needs its limit")
        raise _RowError("text in number", repr(text))
    sign, number, letters = match.groups()
    found = sign or letters.upper() or flag
    value = float(number.replace(",", "."))
    if value < 0:
        raise _RowError("value outside physical range", repr(text))
    return value, found or None


def _stored(meant: _Meant, value: float, unit_text: str | None) -> tuple[str, float, str, str]:
    """Return (analyte, value, unit, note) in the stored unit; moisture becomes total solids."""
    unit = _folded(meant.unit or unit_text) or None
    note = ""
    if unit is None:
        if (meant.analyte == "ts" and meant.point == "feed" and value > MG_L_ABOVE) or meant.analyte == "tss":
            unit, note = "mg/l", "unit inferred: mg/L"
        else:
            unit = "% of ts" if meant.analyte == "vs" else "%"
    table = _TO_MG_L if meant.analyte == "tss" else _TO_PCT
    if unit not in table:
        raise _RowError("unit implausible", f"{meant.analyte} in {unit!r}")
    number = value * table[unit]
    analyte = meant.analyte
    if analyte == "moisture":
        analyte, number = "ts", 100.0 - number
    _plausible(meant.point, analyte, number, inverted=meant.analyte == "moisture")
    return analyte, number, {"tss": "mg/L", "vs": "% of TS"}.get(analyte, "%"), note


def _plausible(point: str, analyte: str, number: float, *, inverted: bool) -> None:
    low, high = {"ts": (0.0, 100.0), "vs": VS_PCT, "tss": (0.0, 1e6), "strength": (0.0, 5.0)}[analyte]
    if analyte == "ts" and point == "feed":
        high = HIGHEST_FEED_TS_PCT
    if analyte == "ts" and point == "cake" and not inverted:
        high = MOISTURE_LIKE_PCT
    if not low <= number <= high:
        raise _RowError("unit implausible", f"{point} {analyte} of {number:g} is not within {low:g} to {high:g}")


def _when(time_utc: datetime, layout: Layout, plant_file: PlantFile) -> dict[str, Any]:
    """Return the span the sample can come from: an instant, or the operating day of a bare date."""
    start = plant_file.plant.operating_day_start
    local = time_utc.astimezone(plant_file.zone)
    dated_only = not plant_file.lab.time_is_stated or not re.search(r"%[HIT]|iso8601|epoch|serial", layout.time_format)
    if dated_only:
        return {**day_span(local.date(), plant_file), "time_basis": "day"}
    day = (local - timedelta(hours=start.hour, minutes=start.minute)).date()
    return {"from_utc": time_utc, "to_utc": time_utc, "operating_day": day, "time_basis": "stated"}


def day_span(day: date, plant_file: PlantFile) -> dict[str, Any]:
    """Return from_utc, to_utc and operating_day of a whole operating day."""
    begin = datetime.combine(day, plant_file.plant.operating_day_start, plant_file.zone)
    end = datetime.combine(day + timedelta(days=1), plant_file.plant.operating_day_start, plant_file.zone)
    return {"from_utc": begin.astimezone(UTC), "to_utc": end.astimezone(UTC), "operating_day": day}


def _reported(text: str | None, layout: Layout, plant_file: PlantFile, received_utc: datetime) -> datetime:
    if not text:
        return received_utc
    for fmt in (layout.time_format, "%Y-%m-%d %H:%M", "%Y-%m-%d"):
        try:
            return datetime.strptime(text, fmt).replace(tzinfo=plant_file.zone).astimezone(UTC)
        except ValueError:
            continue
    return received_utc


def averaged(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return one result per sample and analyte of one file: duplicates become their mean, with RPD = 100 |a-b| / mean.

    The latest reported time and the first line stand for the group. A revision inside one file (a later reported time)
    replaces what was reported before it.
    """
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in found:
        groups.setdefault((row["sample_id"], row["analyte"]), []).append(row)
    return [_mean(rows) for rows in groups.values()]


def _mean(rows: list[dict[str, Any]]) -> dict[str, Any]:
    latest = max(r["reported_utc"] for r in rows)
    current = [r for r in rows if r["reported_utc"] == latest]
    numbers = [r["value"] for r in current]
    mean = fmean(numbers)
    spread = 100.0 * (max(numbers) - min(numbers)) / mean if len(numbers) > 1 and mean > 0 else None
    return {**current[0], "value": mean, "replicates": len(numbers), "rpd_pct": spread, "lines": [r["line_no"] for r in rows]}
