"""Corrections and decisions applied to lab results: `lab_results` has the result in force, `lab_results_history` all as received.

A set-aside result with a known sample can be put into force by a decision or an override, unless the lab has reported one
for the same sample and analyte. The rounds of a line and day are then judged again on the values in force.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import polars as pl

from pipelines.check import row_schemas, touched
from pipelines.check.lab import plausible_sets
from pipelines.decisions.decision_file import Decision
from pipelines.plant.correction_entries import Entry
from pipelines.plant.corrections import measure_of_analyte
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from schemas import TABLES

_Row = dict[str, Any]
_Key = tuple[str, str]  # sample id, analyte
DROPPED = "dropped by correction"
# The lab's own results in force: the last version of each sample and analyte.
_STANDING = (
    "SELECT * FROM lab_results_history QUALIFY revision = max(revision) OVER (PARTITION BY sample_id, analyte) ORDER BY sample_id, analyte"
)
_ASIDE = "SELECT * FROM set_aside_results ORDER BY sample_id, analyte, load_id, line_no, subject"


@dataclass(frozen=True)
class Overlay:
    """Effect on one result: the row of `corrections_applied`, and the row of `lab_results` without its verdict."""

    applied: _Row
    result: _Row
    place: int  # of the entry; 0 for a decision


@dataclass(frozen=True)
class Candidate:
    """A result that an entry or a decision can apply to: in force, or set aside (then with its text)."""

    row: _Row
    subject: str | None = None
    text: str | None = None

    @property
    def key(self) -> _Key:
        return self.row["sample_id"], self.row["analyte"]


def overlays(store: Store, plant_file: PlantFile, entries: Iterable[Entry], decisions: Sequence[Decision]) -> list[Overlay]:
    """Return the effects of register and decisions on the results in the store, ordered by sample and analyte."""
    lab_entries = [e for e in entries if e.correction.tag is None]
    on_rows = [d for d in decisions if d.kind == "row"]
    if not lab_entries and not on_rows:
        return []
    standing = [Candidate(row) for row in store.frame(_STANDING).to_dicts()]
    known = {c.key for c in standing}
    aside = [Candidate(row, row["subject"], row["text"]) for row in store.frame(_ASIDE).to_dicts()]
    files = dict(store.rows("SELECT load_id, file_name FROM loads"))
    found: dict[_Key, Overlay] = {}
    for entry in lab_entries:  # the later entry counts
        for c in (*standing, *(a for a in aside if a.key not in known)):
            if _matches(entry, c.row, files) and (overlay := _by_entry(store.plant, entry, c, plant_file)):
                found[c.key] = overlay
    found |= _by_decisions(store.plant, on_rows, [a for a in aside if a.key not in known], found)
    return [found[key] for key in sorted(found)]


def _matches(entry: Entry, row: _Row, files: dict[str, str]) -> bool:
    c = entry.correction
    return (
        (row["line"], row["point"], row["analyte"]) == (c.line, c.point, c.analyte)
        and entry.first <= row["from_utc"] < entry.end
        and (c.sample is None or c.sample == row["sample_id"])
        and (c.file is None or c.file == files.get(row["load_id"]))
    )


def _by_entry(plant: str, entry: Entry, candidate: Candidate, plant_file: PlantFile) -> Overlay | None:
    c, raw, is_aside = entry.correction, candidate.row["value"], candidate.subject is not None
    if raw is None and c.action != "override":
        return None
    holds = entry.expected is None or entry.expected.holds(raw)
    if is_aside and (not holds or c.action in ("drop", "flag")):
        return _applied(plant, candidate, None, entry, plant_file, holds=holds)  # it stays set aside
    return _applied(plant, candidate, entry.corrected(raw) if holds else raw, entry, plant_file, holds=holds)


def _applied(plant: str, candidate: Candidate, value: float | None, entry: Entry, plant_file: PlantFile, *, holds: bool) -> Overlay:
    c, row = entry.correction, candidate.row
    said = {
        "correction_id": c.id, "source": "plant file", "action": c.action, "is_applied": holds, "reason": c.reason, "who": c.who,
        "entered_utc": plant_file.calendar.until(c.entered),
    }  # fmt: skip
    applied = _row_of(plant, candidate, value, said)
    dropped = f"{DROPPED} {c.id}" if value is None else None
    keeps_limit = row["detection_limit"] if value == row["value"] else None
    return Overlay(applied, {**row, "value": value, "detection_limit": keeps_limit, "unused_reason": dropped}, entry.place)


def _row_of(plant: str, candidate: Candidate, value: float | None, said: _Row) -> _Row:
    row = candidate.row
    return {
        "plant": plant, "kind": "lab result", "subject": row["sample_id"], "analyte": row["analyte"], "time_utc": row["from_utc"],
        "line": row["line"], "role": None, "operating_day": row["operating_day"], "load_id": row["load_id"], "line_no": row["line_no"],
        "raw_value": row["value"], "raw_quality": None, "raw_text": candidate.text, "corrected_value": value, "corrected_quality": None,
        "unit": row["unit"], **said,
    }  # fmt: skip


def _by_decisions(
    plant: str, decisions: Sequence[Decision], aside: Sequence[Candidate], by_entry: dict[_Key, Overlay]
) -> dict[_Key, Overlay]:
    """Return the results put into force by decisions on set-aside rows; "reject" cancels an entry for the same row."""
    found: dict[_Key, tuple[int, Overlay]] = {}
    for candidate in aside:
        named = [
            (k, d)
            for k, d in enumerate(decisions)
            if (d.load_id, d.line_no) == (candidate.row["load_id"], candidate.row["line_no"]) and d.subject in (None, candidate.subject)
        ]
        if not named:
            continue
        place, last = named[-1]
        made = by_entry.get(candidate.key)
        is_own = made is not None and (made.applied["load_id"], made.applied["line_no"]) == (last.load_id, last.line_no)
        if last.disposition == "reject" and is_own:
            by_entry.pop(candidate.key)
        value = _decided_value(last, candidate)
        if value is not None and place >= found.get(candidate.key, (-1, None))[0]:
            said = {
                "correction_id": last.id, "source": "disposition", "action": last.disposition, "is_applied": True, "reason": last.note,
                "who": last.who, "entered_utc": last.decided_utc,
            }  # fmt: skip
            applied = _row_of(plant, candidate, value, said)
            found[candidate.key] = (place, Overlay(applied, {**candidate.row, "value": value, "unused_reason": None}, 0))
    return {key: overlay for key, (_, overlay) in found.items()}


def _decided_value(decision: Decision, candidate: Candidate) -> float | None:
    """Return the value in force by a decision; None when it puts none into force or the value is impossible."""
    measure = measure_of_analyte(candidate.row["analyte"])
    if decision.disposition == "accept as is":
        value: float | None = candidate.row["value"]
        return value if value is not None and measure.bounds[0] <= value <= measure.bounds[1] else None
    if decision.disposition != "corrected to" or decision.given is None:
        return None
    try:
        return measure.given(decision.given)
    except ValueError:
        return None


def merge(store: Store, found: Sequence[Overlay], plant_file: PlantFile) -> int:
    """Write the overlays to `corrections_applied` and `lab_results`, mark the days that follow; return the number of rows changed."""
    old_rows = store.frame("SELECT * FROM corrections_applied WHERE kind = 'lab result' ORDER BY subject, analyte, time_utc")
    schema = TABLES["corrections_applied"].polars_schema()
    new_rows = pl.DataFrame([o.applied for o in found], schema=schema).sort("subject", "analyte", "time_utc")
    days = set(old_rows["operating_day"]) | set(new_rows["operating_day"])
    if not days:
        return 0
    is_same = new_rows.equals(old_rows)
    if not is_same:
        store.con.execute("DELETE FROM corrections_applied WHERE kind = 'lab result'")
        row_schemas.append(store, "corrections_applied", new_rows)
    updated = _update_results(store, found, days, plant_file)
    changed = {d for frame in (new_rows.join(old_rows, on=new_rows.columns, how="anti", nulls_equal=True), old_rows.join(new_rows, on=new_rows.columns, how="anti", nulls_equal=True)) for d in frame["operating_day"]}  # fmt: skip
    touched.mark_lab(store, updated | changed)
    return 0 if is_same else len(changed)


def _update_results(store: Store, found: Sequence[Overlay], days: set[date], plant_file: PlantFile) -> set[date]:
    """Write the results in force on these operating days; return the days that changed."""
    latest = {(r["sample_id"], r["analyte"]): r for r in store.frame(_STANDING).to_dicts() if r["operating_day"] in days}
    wanted: dict[_Key, _Row] = {key: {**row, "is_used": True, "unused_reason": None} for key, row in latest.items()}
    for overlay in found:
        key = (overlay.result["sample_id"], overlay.result["analyte"])
        if overlay.result["value"] is None and key not in latest:
            continue  # it stays set aside
        value = latest[key]["value"] if overlay.result["value"] is None else overlay.result["value"]
        wanted[key] = {
            "revision": 1,
            **overlay.result,
            "plant": store.plant,
            "value": value,
            "is_used": overlay.result["value"] is not None,
        }
    columns = TABLES["lab_results"].column_names
    usable = [r for r in wanted.values() if r["is_used"]]
    rows = [*plausible_sets.judged(usable, plant_file), *(r for r in wanted.values() if not r["is_used"])]
    frame = pl.DataFrame([{c: r[c] for c in columns} for r in rows], schema=TABLES["lab_results"].polars_schema())
    there = store.frame("SELECT * FROM lab_results WHERE list_contains($days, operating_day)", days=sorted(days))
    gone = there.join(frame, on=["sample_id", "analyte"], how="anti")
    new = frame.join(there, on=list(columns), how="anti", nulls_equal=True).sort("sample_id", "analyte")
    for sample_id, analyte in gone.select("sample_id", "analyte").rows():
        store.con.execute("DELETE FROM lab_results WHERE sample_id = $s AND analyte = $a", {"s": sample_id, "a": analyte})
    row_schemas.upsert(store, "lab_results", new) if new.height else None
    return set(gone["operating_day"]) | set(new["operating_day"])


def matched(found: Iterable[Overlay]) -> dict[int, list[_Row]]:
    """Return place of an entry -> its rows of `corrections_applied`."""
    rows: dict[int, list[_Row]] = {}
    for overlay in found:
        if overlay.place:
            rows.setdefault(overlay.place, []).append(overlay.applied)
    return rows


def has_values(store: Store, entry: Entry) -> bool:
    """Return whether any result, in force or set aside, matches an entry, even if another entry outranks it."""
    files = dict(store.rows("SELECT load_id, file_name FROM loads"))
    return any(_matches(entry, row, files) for sql in (_STANDING, _ASIDE) for row in store.frame(sql).to_dicts())


def last_seen(store: Store, entry: Entry) -> datetime | None:
    """Return the latest time of sample known of the line, point and analyte of an entry."""
    c = entry.correction
    found: datetime | None = store.rows(
        "SELECT max(from_utc) FROM (SELECT from_utc, line, point, analyte FROM lab_results_history UNION ALL "
        "SELECT from_utc, line, point, analyte FROM set_aside_results) WHERE line = $l AND point = $p AND analyte = $a",
        {"l": c.line, "p": c.point, "a": c.analyte},
    )[0][0]
    return found
