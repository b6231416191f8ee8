"""Corrections and decisions applied to readings: one row each, raw value beside the corrected one.

Readings are not changed; `align` uses the corrected values instead. The rows depend only on the readings, the values set
aside, the register and the decisions, so the order of receipt does not matter and a rebuild gives the same rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from pipelines.check import touched
from pipelines.decisions.decision_file import Decision
from pipelines.plant.calendar import FAR_FUTURE, LONG_AGO
from pipelines.plant.correction_entries import Entry, measure_of_tag
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from schemas import TABLES

# Where several entries apply to a value, the highest rank counts: a decision on the row itself outranks the register.
_ABOVE_REGISTER = 1_000_000_000
_UNCERTAIN, _BAD = 1, 2
_TOUCHED = """CREATE OR REPLACE TABLE work.touched (rank BIGINT, tag VARCHAR, time_utc TIMESTAMPTZ, correction_id VARCHAR, source VARCHAR,
  action VARCHAR, is_applied BOOLEAN, load_id VARCHAR, line_no BIGINT, raw_value DOUBLE, raw_quality UTINYINT, raw_text VARCHAR,
  corrected_value DOUBLE, corrected_quality UTINYINT, unit VARCHAR, reason VARCHAR, who VARCHAR, entered_utc TIMESTAMPTZ)"""
# A value set aside leaves a bad reading, which represents it here; of several in one file, the last line.
_OF_ENTRY = f"""
INSERT INTO work.touched
WITH aside AS (
  SELECT tag, time_utc, load_id, arg_max_null(value, line_no) AS value, arg_max_null(text, line_no) AS text, max(line_no) AS line_no
  FROM set_aside_values WHERE tag = $tag AND time_utc >= $first AND time_utc < $end GROUP BY tag, time_utc, load_id
), raw AS (
  SELECT r.tag, r.time_utc, r.value AS standing, r.quality, r.load_id, s.line_no, s.text, coalesce(r.value, s.value) AS raw_value
  FROM readings r LEFT JOIN aside s ON r.quality = {_BAD} AND r.value IS NULL AND s.tag = r.tag AND s.time_utc = r.time_utc AND s.load_id = r.load_id
  WHERE r.tag = $tag AND r.time_utc >= $first AND r.time_utc < $end
    AND ($file IS NULL OR r.load_id IN (SELECT load_id FROM loads WHERE file_name = $file))
), judged AS (
  SELECT *, CASE WHEN NOT $expects THEN TRUE WHEN raw_value IS NULL THEN FALSE ELSE
    (raw_value > $low OR (raw_value = $low AND NOT $low_open)) AND (raw_value < $high OR (raw_value = $high AND NOT $high_open)) END AS holds
  FROM raw WHERE raw_value IS NOT NULL OR $action = 'override'
), worked AS (
  SELECT *, CASE WHEN NOT holds OR $action = 'flag' THEN standing WHEN $action = 'override' THEN $value
    WHEN $action = 'scale' THEN (raw_value - $offset) * $factor + $offset END AS number FROM judged
), bounded AS (
  SELECT *, CASE WHEN holds AND $action = 'scale' AND NOT (number BETWEEN $least AND $most) THEN NULL ELSE number END AS corrected FROM worked
)
SELECT $place, tag, time_utc, $id, 'plant file', $action, holds, load_id, line_no, raw_value, quality, text, corrected,
  CASE WHEN corrected IS NULL THEN {_BAD} ELSE {_UNCERTAIN} END, $unit, $reason, $who, $entered
FROM bounded"""
# "reject" also overrides the register; it changes no value itself and writes no row.
_OF_DECISIONS = f"""
INSERT INTO work.touched
SELECT {_ABOVE_REGISTER} + d.place, v.tag, v.time_utc, d.id, 'disposition', d.disposition, TRUE, v.load_id, v.line_no, v.value, r.quality, v.text,
  CASE d.disposition WHEN 'accept as is' THEN v.value WHEN 'corrected to' THEN d.value END,
  CASE WHEN d.disposition = 'reject' THEN {_BAD} ELSE {_UNCERTAIN} END, m.unit, d.note, d.who, d.decided_utc
FROM (SELECT v.*, max(d.place) AS place FROM set_aside_values v JOIN work.decisions d
        ON d.load_id = v.load_id AND d.line_no = v.line_no AND (d.subject IS NULL OR d.subject = v.tag) GROUP BY ALL) v
JOIN work.decisions d USING (place)
JOIN work.measures m ON m.tag = v.tag
JOIN readings r ON r.tag = v.tag AND r.time_utc = v.time_utc AND r.quality = {_BAD} AND r.value IS NULL
WHERE d.disposition IN ('accept as is', 'corrected to', 'reject')
  AND v.time_utc >= $first AND v.time_utc < $end AND r.time_utc >= $first AND r.time_utc < $end
  AND (d.disposition <> 'accept as is' OR v.value BETWEEN m.least AND m.most) AND (d.disposition <> 'corrected to' OR d.value IS NOT NULL)"""
_COLUMNS = ", ".join(TABLES["corrections_applied"].column_names)
_FINAL = """
CREATE OR REPLACE TABLE work.corrected AS
WITH one AS (
  SELECT * FROM work.touched QUALIFY row_number() OVER (PARTITION BY tag, time_utc ORDER BY rank DESC, line_no DESC NULLS LAST, load_id) = 1
), placed AS (
  SELECT one.*, s.line, s.role FROM one LEFT JOIN work.signal_spans s ON s.tag = one.tag AND one.time_utc >= s.first AND one.time_utc < s.until_utc
  WHERE action <> 'reject' QUALIFY row_number() OVER (PARTITION BY one.tag, one.time_utc ORDER BY s.number) = 1
)
SELECT $plant AS plant, 'reading' AS kind, tag AS subject, '-' AS analyte, d.operating_day, placed.* EXCLUDE (rank, tag)
FROM placed ASOF JOIN work.day_starts d ON placed.time_utc >= d.start_utc"""


@dataclass(frozen=True)
class Window:
    """A span of time [first, end) of readings."""

    first: datetime
    end: datetime

    @property
    def named(self) -> dict[str, Any]:
        return {"first": self.first, "end": self.end}


EVERYTHING = Window(LONG_AGO, FAR_FUTURE)


def make(store: Store, plant_file: PlantFile, entries: Iterable[Entry], decisions: Sequence[Decision], window: Window) -> None:
    """Build `work.corrected`, the rows of `corrections_applied` for the readings of a window."""
    store.con.execute(_TOUCHED)
    for entry in entries:
        span = Window(max(entry.first, window.first), min(entry.end, window.end))
        if entry.correction.tag is not None and span.first < span.end:
            store.con.execute(_OF_ENTRY, {**_parameters(entry, plant_file), **span.named})
    on_rows = [d for d in decisions if d.kind == "row"]
    if on_rows:
        store.to_work("decisions", decisions_frame(on_rows, plant_file))
        store.to_work("measures", _measures(plant_file))
        store.con.execute(_OF_DECISIONS, window.named)
    store.to_work("signal_spans", _signal_spans(plant_file))
    store.to_work("day_starts", _day_starts(store, plant_file))
    store.con.execute(_FINAL, {"plant": store.plant})


def _day_starts(store: Store, plant_file: PlantFile) -> pl.DataFrame:
    """Return operating_day and start_utc of the days of the touched readings."""
    first, last = store.rows("SELECT min(time_utc), max(time_utc) FROM work.touched")[0]
    schema = {"operating_day": pl.Date(), "start_utc": pl.Datetime("us", "UTC")}
    if first is None:
        return pl.DataFrame(schema=schema)
    days, starts = plant_file.calendar.day_starts(first, last)
    return pl.DataFrame({"operating_day": days, "start_utc": pl.Series(starts).cast(schema["start_utc"])}, schema=schema)


def merge(store: Store, plant_file: PlantFile, window: Window) -> int:
    """Replace the window's rows by `work.corrected` and mark the hours that changed; return the number of rows changed."""
    within = "kind = 'reading' AND time_utc >= $first AND time_utc < $end"
    old = f"SELECT {_COLUMNS} FROM corrections_applied WHERE {within}"
    new = f"SELECT {_COLUMNS} FROM work.corrected"
    changed = store.frame(
        f"SELECT date_trunc('hour', time_utc) AS hour, count(*) AS n FROM (({new} EXCEPT {old}) UNION ALL ({old} EXCEPT {new})) GROUP BY 1 ORDER BY 1",
        **window.named,
    )
    if changed.height == 0:
        return 0
    for first, last in _runs(changed["hour"]):
        touched.mark_hours(store, plant_file, first, last)
    store.con.execute(f"DELETE FROM corrections_applied WHERE {within}", window.named)
    store.con.execute(f"INSERT INTO corrections_applied ({_COLUMNS}) {new} ORDER BY subject, time_utc")
    return int(changed["n"].sum())


def matched(store: Store) -> pl.DataFrame:
    """Return how many readings each entry matches, how many of them contradict it, and the first that does.

    correction_id, matched, contradicted, time_utc, found (raw value, null when it is no number), text.
    """
    return store.frame(
        "SELECT correction_id, count(*) AS matched, count(*) FILTER (NOT is_applied) AS contradicted, "
        "min(time_utc) FILTER (NOT is_applied) AS time_utc, arg_min_null(raw_value, time_utc) FILTER (NOT is_applied) AS found, "
        "arg_min_null(raw_text, time_utc) FILTER (NOT is_applied) AS text FROM corrections_applied WHERE kind = 'reading' AND source = 'plant file' GROUP BY 1"
    )


def has_values(store: Store, entry: Entry) -> bool:
    """Return whether any reading matches the tag, time and file of an entry, even if another entry outranks it."""
    c = entry.correction
    return bool(
        store.rows(
            "SELECT 1 FROM readings WHERE tag = $tag AND time_utc >= $first AND time_utc < $end "
            "AND ($file IS NULL OR load_id IN (SELECT load_id FROM loads WHERE file_name = $file)) LIMIT 1",
            {"tag": c.tag, "first": entry.first, "end": entry.end, "file": c.file},
        )
    )


def last_seen(store: Store, tag: str) -> datetime | None:
    """Return the time of the last reading of a tag."""
    found: datetime | None = store.rows("SELECT max(time_utc) FROM readings WHERE tag = $tag", {"tag": tag})[0][0]
    return found


def decisions_frame(decisions: Iterable[Decision], plant_file: PlantFile) -> pl.DataFrame:
    """Return decisions on rows in order, `value` [SI] for "corrected to" where the subject is a tag with such a unit."""
    rows = [
        {
            "place": k, "id": d.id, "load_id": d.load_id, "line_no": d.line_no, "subject": d.subject, "disposition": d.disposition,
            "value": _given(d, plant_file), "who": d.who, "note": d.note, "decided_utc": d.decided_utc,
        }
        for k, d in enumerate(decisions, start=1)
    ]  # fmt: skip
    at: pl.DataType = pl.Datetime("us", "UTC")
    numbers: dict[str, pl.DataType] = {"place": pl.Int64(), "line_no": pl.Int64(), "value": pl.Float64(), "decided_utc": at}
    texts: dict[str, pl.DataType] = dict.fromkeys(("id", "load_id", "subject", "disposition", "who", "note"), pl.String())
    schema: dict[str, pl.DataType] = {**numbers, **texts}
    return pl.DataFrame(rows, schema=schema)


def _given(decision: Decision, plant_file: PlantFile) -> float | None:
    if decision.given is None or decision.subject is None:
        return None
    try:
        return measure_of_tag(decision.subject, plant_file).given(decision.given)
    except ValueError:
        return None  # a lab result, or a tag no longer in the plant file


def _parameters(entry: Entry, plant_file: PlantFile) -> dict[str, Any]:
    c, expected = entry.correction, entry.expected
    return {
        "tag": c.tag, "file": c.file, "expects": expected is not None,
        "low": expected.low if expected else 0.0, "high": expected.high if expected else 0.0,
        "low_open": bool(expected and expected.low_open), "high_open": bool(expected and expected.high_open),
        "action": c.action, "value": entry.value, "offset": entry.offset, "factor": c.factor if c.factor is not None else 1.0,
        "least": entry.measure.bounds[0], "most": entry.measure.bounds[1], "place": entry.place, "id": entry.id, "unit": entry.measure.stored,
        "reason": c.reason, "who": c.who, "entered": plant_file.calendar.until(c.entered),
    }  # fmt: skip


def _measures(plant_file: PlantFile) -> pl.DataFrame:
    found = []
    for tag in sorted({s.tag for s in plant_file.signals}):
        try:
            measure = measure_of_tag(tag, plant_file)
        except ValueError:
            continue  # stands for several dimensions: no bounds hold for all of them
        found.append((tag, measure.bounds[0], measure.bounds[1], measure.stored))
    return pl.DataFrame(found, schema={"tag": pl.String, "least": pl.Float64, "most": pl.Float64, "unit": pl.String}, orient="row")


def _signal_spans(plant_file: PlantFile) -> pl.DataFrame:
    rows = [
        (k, s.tag, s.line, s.role, plant_file.calendar.since(s.since), plant_file.calendar.until(s.until))
        for k, s in enumerate(plant_file.signals)
    ]  # fmt: skip
    at = pl.Datetime("us", "UTC")
    schema: dict[str, Any] = {"number": pl.Int64, "tag": pl.String, "line": pl.String, "role": pl.String, "first": at, "until_utc": at}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _runs(hours: pl.Series) -> list[tuple[datetime, datetime]]:
    """Return runs of consecutive hours as (start of the first, last moment of the last)."""
    runs: list[tuple[datetime, datetime]] = []
    for hour in hours:
        end = hour + timedelta(hours=1) - timedelta(microseconds=1)
        if runs and hour - runs[-1][1] <= timedelta(microseconds=1):
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((hour, end))
    return runs
