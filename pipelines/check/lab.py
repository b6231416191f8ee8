"""Lab sheets to results: points and analytes by their declared words, units, qualifiers, sample times, duplicates.

A moisture counts as total solids. Nothing is matched by likeness: a word that is not declared sets the row aside.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from statistics import fmean
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from pipelines.check import ranges
from pipelines.check.lab_words import STORED_UNIT, RowError, folded, read, to_stored
from pipelines.check.pending import day_start, operating_day
from pipelines.plantfile import FAR_FUTURE, Layout, PlantFile

FUTURE_MARGIN = timedelta(days=1)  # a sample later than this after receipt has a wrong date
_LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)
_HAS_TIME = re.compile(r"%[HITRcX]|%-?[HI]|epoch|serial")  # formats that state a time of day
_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)\Z")
Result = dict[str, Any]  # the columns of lab_results but plant, load, revision, use; with line_no, and is_reported


@dataclass(frozen=True)
class Refused:
    """A lab value that cannot be used, with its reason."""

    line_no: int
    reason: str
    detail: str
    name: str
    time_utc: datetime | None


@dataclass(frozen=True)
class _Meant:
    line: str
    point: str
    analyte: str
    unit: str | None


def results(values: pl.DataFrame, layout: Layout, plant_file: PlantFile, received_utc: datetime) -> tuple[list[Result], list[Refused]]:
    """Return (one result a value, refused values), in file order."""
    found: list[Result] = []
    refused: list[Refused] = []
    for row in values.to_dicts():
        try:
            found.append(_result(row, layout, plant_file, received_utc))
        except RowError as error:
            name = row["column"] or row["analyte_text"] or ""
            refused.append(Refused(row["line_no"], error.reason, error.detail, name, row["time_utc"]))
    return found, refused


def _result(row: dict[str, Any], layout: Layout, plant_file: PlantFile, received_utc: datetime) -> Result:
    if row["time_reason"] or row["time_utc"] is None:
        raise RowError(row["time_reason"] or "time stamp unreadable", str(row["stamp_text"]))
    when = _when(row, layout, plant_file)
    if when["from_utc"] > received_utc + FUTURE_MARGIN:
        raise RowError("time in the future", str(row["stamp_text"]))
    meant = _meaning(row, layout, plant_file)
    number = read(row["text"] or "", row["qualifier_text"], layout)
    analyte, value, note = to_stored(number.value, meant.analyte, meant.point, meant.unit)
    if number.is_limit and meant.analyte == "moisture":
        raise RowError("text in number", f"{row['text']!r}: a moisture cannot be a non-detect")
    told = reported(row["reported_text"], layout, plant_file)
    return {
        "line_no": row["line_no"], "sample_id": (row["sample"] or "").strip() or _made_id(meant, when, plant_file), "analyte": analyte,
        "line": meant.line, "point": meant.point, **when, "value": value / 2.0 if number.is_limit else value, "unit": STORED_UNIT[analyte],
        "qualifier": number.qualifier, "detection_limit": value if number.is_limit else None,
        "method": "; ".join(x for x in (row["method"], note) if x) or None, "crew": row["crew"] or None,
        "reported_utc": told or received_utc, "is_reported": told is not None,
    }  # fmt: skip


def identity(row: dict[str, Any], layout: Layout, plant_file: PlantFile) -> dict[str, Any]:
    """Return whose result a row is: sample_id, line, point, analyte, unit_text, and when; RowError when that is not known."""
    when, meant = _when(row, layout, plant_file), _meaning(row, layout, plant_file)
    sample = (row["sample"] or "").strip() or _made_id(meant, when, plant_file)
    return {"sample_id": sample, "line": meant.line, "point": meant.point, "analyte": meant.analyte, "unit_text": meant.unit, **when}


def _made_id(meant: _Meant, when: dict[str, Any], plant_file: PlantFile) -> str:
    """Return the name of a sample without a number: line/point/day, or line/point/local time."""
    if when["time_basis"] == "day":
        return f"{meant.line}/{meant.point}/{when['operating_day']}"
    return f"{meant.line}/{meant.point}/{when['from_utc'].astimezone(plant_file.zone).isoformat(timespec='minutes')}"


def _meaning(row: dict[str, Any], layout: Layout, plant_file: PlantFile) -> _Meant:
    if row["column"] is not None:
        for c in layout.results:
            since, until = plant_file.instant(c.since, _LONG_AGO), plant_file.instant(c.until, FAR_FUTURE)
            if c.column == row["column"] and since <= row["time_utc"] < until:
                return _Meant(c.line, c.point, c.analyte, c.unit)
        raise RowError("unknown analyte", f"column {row['column']!r} means nothing on this date")
    point, word = folded(row["point_text"]), folded(row["analyte_text"])
    place = next((p for p in plant_file.lab.sample_points if point in {folded(n) for n in p.names}), None)
    if place is None:
        raise RowError("unknown sample point", repr(row["point_text"] or ""))
    named = next((a for a in plant_file.lab.analytes if word in {folded(n) for n in a.names}), None)
    if named is None:
        raise RowError("unknown analyte", repr(row["analyte_text"] or ""))
    return _Meant(place.line, place.point, named.analyte, (row["unit_text"] or "").strip() or named.unit)


def _when(row: dict[str, Any], layout: Layout, plant_file: PlantFile) -> dict[str, Any]:
    """Return the span the sample can come from: an instant, or the whole operating day of a bare date."""
    stated = row["time_utc"]
    has_time = (":" in (row["stamp_text"] or "")) if layout.time_format == "iso8601" else bool(_HAS_TIME.search(layout.time_format))
    if plant_file.lab.time_is_stated and has_time:
        return {"from_utc": stated, "to_utc": stated, "operating_day": operating_day(stated, plant_file), "time_basis": "stated"}
    return {**day_span(stated.astimezone(_zone(layout, plant_file)).date(), plant_file), "time_basis": "day"}


def day_span(day: date, plant_file: PlantFile) -> dict[str, Any]:
    """Return from_utc, to_utc and operating_day of a whole operating day."""
    return {"from_utc": day_start(day, plant_file), "to_utc": day_start(day + timedelta(days=1), plant_file), "operating_day": day}


def _zone(layout: Layout, plant_file: PlantFile) -> tzinfo:
    """Return the zone in which a layout writes its times."""
    if layout.time_zone == "plant":
        return plant_file.zone
    offset = _OFFSET.match(layout.time_zone)
    if offset is None:
        return ZoneInfo(layout.time_zone)
    span = timedelta(hours=int(offset[2]), minutes=int(offset[3]))
    return timezone(span if offset[1] == "+" else -span)


def reported(text: str | None, layout: Layout, plant_file: PlantFile) -> datetime | None:
    """Return when the lab says it reported, in the zone of the layout; None when it does not say or cannot be read."""
    if not text:
        return None
    for form in (layout.time_format, "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d"):
        try:
            at = datetime.fromisoformat(text) if form == "iso8601" else datetime.strptime(text, form)  # noqa: DTZ007
        except ValueError:
            continue
        return (at if at.tzinfo else at.replace(tzinfo=_zone(layout, plant_file))).astimezone(UTC)
    return None


def averaged(found: list[Result]) -> tuple[list[Result], list[Refused]]:
    """Return (one result a sample and analyte of a load, values refused because a sample is said to be of two places).

    Duplicates become their mean with RPD = 100 (max - min) / mean. What the lab reported later replaces what it reported
    earlier. `lines` of a result are all lines it speaks for, `line_no` the first of those averaged.
    """
    groups: dict[tuple[str, str], list[Result]] = {}
    for row in found:
        groups.setdefault((row["sample_id"], row["analyte"]), []).append(row)
    samples: list[Result] = []
    clashing: list[Refused] = []
    for rows in groups.values():
        current = [r for r in rows if r["reported_utc"] == max(x["reported_utc"] for x in rows)]
        places = sorted({(r["line"], r["point"], r["from_utc"], r["to_utc"]) for r in current})
        if len(places) == 1:
            samples.append(_mean(rows, current))
            continue
        said = " and ".join(f"{line} {point} {at:%Y-%m-%dT%H:%MZ}" for line, point, at, _ in places)
        clashing += [
            Refused(r["line_no"], "duplicate disagreement", f"sample {r['sample_id']} is {said}", r["analyte"], r["from_utc"]) for r in rows
        ]
    return samples, clashing


def _mean(rows: list[Result], current: list[Result]) -> Result:
    numbers = [r["value"] for r in current]
    mean = fmean(numbers)
    spread = 100.0 * (max(numbers) - min(numbers)) / mean if len(numbers) > 1 and mean > 0 else None
    limits = [r["detection_limit"] for r in current if r["detection_limit"] is not None]
    qualifiers = sorted({r["qualifier"] for r in current if r["qualifier"]})
    first = min(current, key=lambda r: r["line_no"])
    return {
        **first, "value": mean, "replicates": len(numbers), "rpd_pct": spread, "detection_limit": max(limits) if limits else None,
        "qualifier": ",".join(qualifiers) or None, "lines": [r["line_no"] for r in rows],
    }  # fmt: skip


def failed_frame(refused: Iterable[Refused]) -> pl.DataFrame:
    """Return refused values as the frame that receipts count: line_no, time_utc, name, reason, detail."""
    rows = [{"line_no": r.line_no, "time_utc": r.time_utc, "name": r.name, "reason": r.reason, "detail": r.detail} for r in refused]
    return pl.DataFrame(rows, schema=ranges.NOTHING_FAILED.schema)


def all_lines(parts: list[pl.Series]) -> pl.Series:
    """Return the line numbers of all values of a sheet."""
    return pl.concat(parts) if parts else pl.Series("line_no", [], dtype=pl.UInt32)


def times(samples: list[Result]) -> pl.Series:
    """Return the earliest possible times of samples."""
    return pl.Series("from_utc", [s["from_utc"] for s in samples], dtype=pl.Datetime("us", "UTC"))
