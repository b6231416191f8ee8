"""Lab sheets to results: points and analytes by their declared words, units, qualifiers, sample times, duplicates.

A moisture counts as total solids. There is no fuzzy matching: an undeclared word sets the row aside.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.check.lab import sample_times
from pipelines.check.lab.qualifiers import Number, RowError, folded, read
from pipelines.check.lab.result_units import MASSES, STORED_UNIT, to_stored
from pipelines.check.lab.sheet import Refused, Result
from pipelines.check.readings import ranges
from pipelines.plant.layouts import belongs
from pipelines.plant.model import Layout, PlantFile

FUTURE_MARGIN = timedelta(days=1)  # a sample later than this after receipt has a wrong date


@dataclass(frozen=True)
class _Meant:
    line: str
    point: str
    analyte: str
    unit: str | None
    method: str | None = None


def results(values: pl.DataFrame, layout: Layout, plant_file: PlantFile, received_utc: datetime) -> tuple[list[Result], list[Refused]]:
    """Return (one result a value, refused values), in file order."""
    found: list[Result] = []
    refused: list[Refused] = []
    words: dict[str, str] = {folded(w): meaning for meaning, given in plant_file.lab.qualifier_words.items() for w in given}
    for row in values.to_dicts():
        try:
            found.append(_result(row, layout, plant_file, words, received_utc))
        except RowError as error:
            name = row["column"] or row["analyte_text"] or ""
            refused.append(Refused(row["line_no"], error.reason, error.detail, name, row["time_utc"]))
    return found, refused


def _result(row: dict[str, Any], layout: Layout, plant_file: PlantFile, words: dict[str, str], received_utc: datetime) -> Result:
    if row["time_reason"] or row["time_utc"] is None:
        raise RowError(row["time_reason"] or "time stamp unreadable", str(row["stamp_text"]))
    span = sample_times.when(row, layout, plant_file)
    if span["from_utc"] > received_utc + FUTURE_MARGIN:
        raise RowError("time in the future", str(row["stamp_text"]))
    meant = _meaning(row, layout, plant_file, span["from_utc"])
    number = read(row["text"] or "", row["qualifier_text"], layout, row.get("limit_text"), words)
    density, is_us = _density(meant, span["from_utc"], plant_file), plant_file.plant.units == "US"
    analyte, value, note = to_stored(number.value, meant.analyte, meant.point, meant.unit, density_kg_m3=density, is_us=is_us)
    if number.is_limit and meant.analyte != "tss" and (meant.point, meant.analyte) != ("filtrate", "ts"):
        raise RowError("qualifier rejects result", f"{row['text']!r}: half a limit is no measurement of {meant.point} {meant.analyte}")
    method, suffix = _method(row["method"] or meant.method, plant_file)
    reported = sample_times.reported(row["reported_text"], layout, plant_file)
    return {
        "line_no": row["line_no"], "sample_id": _sample_id(row, meant, span, layout, plant_file) + suffix, "is_numbered": bool((row["sample"] or "").strip()),
        "analyte": analyte, "line": meant.line, "point": meant.point, **span, **_numbers(number, value), "unit": STORED_UNIT.get(analyte),
        "note": note, "method": method, "crew": row["crew"] or None, "lot": row.get("lot") or None, "replicate": row.get("replicate") or None,
        "reported_utc": reported or received_utc, "is_reported": reported is not None,
    }  # fmt: skip


def _sample_id(row: dict[str, Any], meant: _Meant, span: dict[str, Any], layout: Layout, plant_file: PlantFile) -> str:
    """Return the lab's number of a sample, with line and point where the number is that of a round; else line/point/time made into one."""
    number = (row["sample"] or "").strip()
    if number and layout.sample_number == "round":
        return f"{number}/{meant.line}/{meant.point}"
    return number or f"{meant.line}/{meant.point}/{sample_times.label(span, plant_file)}"


def identity(row: dict[str, Any], layout: Layout, plant_file: PlantFile) -> dict[str, Any]:
    """Return whose result a row is, whatever its number: sample_id, line, point, analyte, unit_text, density_kg_m3, method and when.

    RowError when that is not known.
    """
    span = sample_times.when(row, layout, plant_file)
    meant = _meaning(row, layout, plant_file, span["from_utc"])
    method, suffix = _method(row["method"] or meant.method, plant_file)
    return {
        "sample_id": _sample_id(row, meant, span, layout, plant_file) + suffix, "line": meant.line, "point": meant.point, "analyte": meant.analyte,
        "unit_text": meant.unit, "density_kg_m3": _density(meant, span["from_utc"], plant_file), "method": method, **span,
    }  # fmt: skip


def _numbers(number: Number, value: float) -> dict[str, Any]:
    """Return value and its columns: half the limit for a non-detect, with zero and the limit beside it."""
    limit = value if number.is_limit else None
    return {
        "value": value / 2.0 if number.is_limit else value, "qualifier": number.qualifier, "detection_limit": limit,
        "value_at_zero": 0.0 if number.is_limit else None, "value_at_limit": limit, "is_estimated": number.is_estimated,
    }  # fmt: skip


def _method(text: str | None, plant_file: PlantFile) -> tuple[str | None, str]:
    """Return (method, what it adds to the sample's name): a declared method that is not the preferred one keeps its results apart."""
    declared = {folded(m): m for m in plant_file.lab.methods}
    method = declared.get(folded(text))
    if method is None:
        return text or None, ""
    return method, "" if method == plant_file.lab.methods[0] else f" [{method}]"


def _density(meant: _Meant, at: datetime, plant_file: PlantFile) -> float | None:
    """Return the density [kg/m3] of the line's product at a time; None when no block holds then."""
    if meant.analyte not in MASSES:
        return None
    dated = [(plant_file.calendar.since(p.since), p.density) for p in plant_file.polymers if meant.line in p.lines]
    return max(((since, density) for since, density in dated if since <= at), default=(at, None), key=lambda d: d[0])[1]


def _meaning(row: dict[str, Any], layout: Layout, plant_file: PlantFile, at: datetime) -> _Meant:
    """Return the declared meaning of a sample's value; `at` is the start of the sample's time, for a bare date that of its operating day."""
    if row["column"] is not None:
        for c in layout.results:
            since, until = plant_file.calendar.since(c.since), plant_file.calendar.until(c.until)
            if c.column == row["column"] and since <= at < until:
                return _Meant(c.line or _line(row, layout), c.point, c.analyte, c.unit, c.method)
        raise RowError("unknown analyte", f"column {row['column']!r} means nothing on this date")
    point, word = folded(row["point_text"]), folded(row["analyte_text"])
    place = next((p for p in plant_file.lab.sample_points if point in {folded(n) for n in p.names}), None)
    if place is None:
        raise RowError("unknown sample point", repr(row["point_text"] or ""))
    named = next((a for a in plant_file.lab.analytes if word in {folded(n) for n in a.names}), None)
    if named is None:
        raise RowError("unknown analyte", repr(row["analyte_text"] or ""))
    if not belongs(named.analyte, place.point):
        raise RowError("unknown analyte", f"{row['analyte_text']!r} is no result of the point {place.point!r}")
    return _Meant(place.line, place.point, named.analyte, (row["unit_text"] or "").strip() or named.unit)


def _line(row: dict[str, Any], layout: Layout) -> str:
    """Return the line named by a row."""
    said = folded(row["line_text"])
    line = next((line for word, line in layout.line_words.items() if folded(word) == said), None)
    if line is None:
        raise RowError("unknown sample point", f"no line is called {row['line_text'] or ''!r}")
    return line


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


def days(samples: list[Result], plant_file: PlantFile) -> set[date]:
    """Return the operating days that samples belong to."""
    return {day for s in samples for day in sample_times.days_of(s, plant_file)}
