"""Watch: minutes in, flags out. Flags are advisory, no alarms; they change no data.

A flag belongs to one operating day and depends on the minutes of that day and the 14 before, on nothing else; so the
flags of an incremental run are those of a rebuild.
"""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

import polars as pl

from pipelines.base import clock
from pipelines.base.receipts import StepReceipt
from pipelines.plant import limits
from pipelines.plant.model import PlantFile
from pipelines.store import Store, plant_file_versions
from pipelines.watch import history_flags, judge, line_day, marks, spans
from pipelines.watch.integrity import day_facts, integrity_store
from pipelines.watch.integrity.day_facts import DayFacts
from pipelines.watch.line_day import LineDay, Usual
from pipelines.watch.marks import Mark
from pipelines.watch.readings_lookup import Said
from pipelines.watch.standing import last_stretch_start, pump_standing_at, standing_at, standing_on
from pipelines.watch.words import Flag
from schemas import TABLES

PIECE_DAYS = 31  # judged at a time, so that memory does not grow with a backfill
# The last decision on a flag stands, whenever it was raised; a rebuild has it from the file of decisions.
_DECIDED = (
    "UPDATE flags f SET disposition = d.disposition, disposition_role = d.who, disposition_note = d.note, disposition_utc = d.decided_utc, "
    "owner = d.owner, due_day = d.due_day "
    "FROM (SELECT * FROM dispositions WHERE kind = 'flag' QUALIFY row_number() OVER (PARTITION BY line, flag_id ORDER BY place DESC) = 1) d "
    "WHERE f.line = d.line AND f.flag_id = d.flag_id AND (f.disposition IS DISTINCT FROM d.disposition OR f.disposition_role IS DISTINCT FROM d.who "
    "OR f.disposition_note IS DISTINCT FROM d.note OR f.disposition_utc IS DISTINCT FROM d.decided_utc "
    "OR f.owner IS DISTINCT FROM d.owner OR f.due_day IS DISTINCT FROM d.due_day)"
)
_DISPOSITION = ("disposition", "disposition_role", "disposition_note", "disposition_utc", "owner", "due_day")


@dataclass(frozen=True)
class Judged:
    """What the minutes of some days (sorted) say."""

    days: list[date]
    flags: list[Flag]
    marks: list[Mark]
    facts: list[DayFacts]


def run(store: Store, plant_file: PlantFile, judging: Future[Judged] | None = None) -> StepReceipt:
    """Judge the pending days of a plant, write their flags and mark them for publish, all in one transaction.

    What a person has noted on a flag stays with the flag of the same id. `judging` judges already; if those are other days
    than are pending now, it is done again.
    """
    started = clock.stopwatch()
    pending = store.pending_days("watch")
    days = _existing(store, pending)
    judged = judging.result() if judging is not None else None
    if judged is None or judged.days != days:
        judged = judge_days(store, plant_file, days)
    flags, versions = judged.flags, data_versions(store, days)
    frame = _frame(store, flags, versions)
    rows = [m.row(store.plant, versions[m.operating_day]) for m in judged.marks]
    with store.transaction():
        noted = store.frame(f"SELECT line, flag_id, {', '.join(_DISPOSITION)} FROM flags WHERE disposition IS NOT NULL")
        store.con.execute("DELETE FROM flags WHERE list_contains($d, operating_day)", {"d": pending})
        _append(store, frame, noted)
        store.con.execute("DELETE FROM signal_marks WHERE list_contains($d, operating_day)", {"d": pending})
        store.append("signal_marks", pl.DataFrame(rows, schema=TABLES["signal_marks"].polars_schema()))
        store.con.execute(_DECIDED)
        integrity_store.write_days(store, pending, judged.facts, versions)
        weeks = integrity_store.write_weeks(store, plant_file, pending)
        store.con.execute("DELETE FROM flags WHERE list_contains($names, detector)", {"names": list(history_flags.DETECTORS)})
        _append(store, _rows(store, history_flags.found(store, plant_file)), noted)
        history_flags.note_causes(store)
        store.mark_days("publish", [*days, *weeks])
        store.clear_days("watch")
    return StepReceipt("watch", len(days), {"flags": len(flags), "signal_marks": len(rows)}, clock.stopwatch() - started)


def judge_days(store: Store, plant_file: PlantFile, days: list[date]) -> Judged:
    """Return what the minutes of some days (sorted) say. It writes nothing and needs no KPIs, so it can be done beside compute."""
    found = [flags_of_days(store, plant_file, piece) for piece in pieces(days)]
    return Judged(
        days,
        [flag for one in found for flag in one.flags],
        [mark for one in found for mark in one.marks],
        [facts for one in found for facts in one.facts],
    )


def flags_of_days(store: Store, plant_file: PlantFile, days: list[date]) -> Judged:
    """Return what the minutes of some days (sorted) say, all lines, in order of line and time."""
    first = days[0] - timedelta(days=limits.CURVE_DAYS)
    bounds = store.rows(
        "SELECT min(minute_utc), max(minute_utc) + INTERVAL 1 MINUTE FROM minutes WHERE operating_day BETWEEN $a AND $b",
        {"a": days[0], "b": days[-1]},
    )[0]
    refused, wanted = spans.out_of_range(store, plant_file, *bounds), set(days)
    recorded = store.recorded()
    said, back = Said(store, plant_file, *bounds), spans.steps_back(store, *bounds)
    silence = partial(spans.minutes_without_reading, said, plant_file)
    flags: list[Flag] = []
    marked: list[Mark] = []
    facts: list[DayFacts] = []
    for line in plant_file.lines:
        seen: dict[date, Usual] = {}
        silent_day: date | None = None
        for day in line_day.days_of(store, line, first, days[-1]):
            if day.day in wanted:
                trailing = (day.day - timedelta(days=k) for k in range(limits.CURVE_DAYS, 0, -1))
                before = [seen[d] for d in trailing if d in seen]
                was_silent = silent_day == day.day - timedelta(days=1)
                found = judge.flags_of(day, before, plant_file, refused, silence, recorded, was_silent=was_silent)
                rows, more = marks.of_day(day, plant_file, said, found)
                if line is plant_file.lines[0]:  # a file is of the plant; its flag stands with the first line
                    more += marks.out_of_order(day, back)
                flags += sorted([*found, *more], key=lambda f: (f.start, f.detector, f.role or ""))
                marked += rows
                facts.append(day_facts.of_day(day))
            seen[day.day] = _usual(day, plant_file)
            silent_day = day.day if judge.ends_silent(day) else None
    return Judged(days, flags, marked, facts)


def _usual(day: LineDay, plant_file: PlantFile) -> Usual:
    line = day.line.id
    end = plant_file.calendar.day_end(day.day)
    since = day.minute_of(last_stretch_start(plant_file, line, day.day))
    if since == 0:
        return line_day.usual_of(day, tuple(judge.LINKED), standing_on(plant_file, line, day.day), pump_standing_at(plant_file, line, end))
    return line_day.usual_of(
        day.from_minute(since), tuple(judge.LINKED), standing_at(plant_file, line, end), pump_standing_at(plant_file, line, end)
    )


def pieces(days: Iterable[date]) -> list[list[date]]:
    """Cut days (sorted) where they lie farther apart than the days a curve needs, and where a piece grows long."""
    out: list[list[date]] = []
    for day in days:
        if out and day - out[-1][-1] <= timedelta(days=limits.CURVE_DAYS) and len(out[-1]) < PIECE_DAYS:
            out[-1].append(day)
        else:
            out.append([day])
    return out


def data_versions(store: Store, days: list[date]) -> dict[date, str]:
    """Return the data version of each day: the same recipe as that of the KPI tables (sql/tables/span_versions.sql)."""
    found = store.rows(
        "SELECT d, substr(md5(coalesce(string_agg(DISTINCT l.load_id, '' ORDER BY l.load_id), '') || $plant_file), 1, 12) "
        "FROM (SELECT unnest($days::DATE[]) AS d) LEFT JOIN (SELECT load_id, operating_day FROM load_days UNION ALL "
        "SELECT correction_id, operating_day FROM corrections_applied WHERE source = 'disposition') l ON l.operating_day = d GROUP BY d",
        {"days": days, "plant_file": plant_file_versions.recipe_id(store)},
    )
    return {r[0]: str(r[1]) for r in found}


def _existing(store: Store, pending: list[date]) -> list[date]:
    """Return the pending days that have minutes."""
    return [
        r[0]
        for r in store.rows("SELECT DISTINCT operating_day FROM minutes WHERE list_contains($d, operating_day) ORDER BY 1", {"d": pending})
    ]


def _frame(store: Store, flags: list[Flag], versions: dict[date, str]) -> pl.DataFrame:
    return _rows(store, [(f, versions[f.operating_day]) for f in flags])


def _rows(store: Store, flags: list[tuple[Flag, str]]) -> pl.DataFrame:
    schema = {k: v for k, v in TABLES["flags"].polars_schema().items() if k not in _DISPOSITION}
    return pl.DataFrame([f.row(store.plant, version) for f, version in flags], schema=schema)


def _append(store: Store, frame: pl.DataFrame, noted: pl.DataFrame) -> None:
    """Add flags, each with what was noted on the flag of its id."""
    table = frame.join(noted, on=["line", "flag_id"], how="left", maintain_order="left")
    store.append("flags", table.select(TABLES["flags"].column_names))
