"""Apply the corrections register and the decisions of people to the data of the store.

Readings and lab reports are not changed. An entry applies to the values that meet its `expect`. A value that does not keeps
its number, marked uncertain, and the run ends with a warning that names entry, time, value found and remedy: the plant may
have corrected its data since, and a failed night would help no one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.base import clock, units
from pipelines.base.errors import Notice
from pipelines.base.receipts import StepReceipt
from pipelines.check.corrections import readings, results
from pipelines.check.corrections.readings import Window
from pipelines.decisions.decision_file import Decision
from pipelines.plant.calendar import FAR_FUTURE
from pipelines.plant.correction_entries import Entry, entries
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from schemas import TABLES
from schemas.tables.corrections import STATES

CONTRADICTED, UNMATCHED = "corrections.contradicted", "corrections.matches_nothing"


@dataclass(frozen=True)
class Outcome:
    """The effect of one entry on the data: how many values it matches, how many contradict it, and the first that does."""

    entry: Entry
    matched: int
    contradicted: int
    time_utc: datetime | None
    found: float | None
    text: str | None
    has_values: bool  # it matches something, even if another entry outranks it
    is_seen: bool  # data of its time have been received

    @property
    def state(self) -> str:
        if self.contradicted:
            return "contradicted"
        if self.matched:
            return "applied"
        if self.has_values:
            return "changes nothing"
        return "matches nothing" if self.is_seen else "waiting for data"

    @property
    def told(self) -> str | None:
        """Return the first value that contradicts the entry, as text."""
        if not self.contradicted:
            return None
        m = self.entry.measure
        word = m.unit or m.stored
        if self.found is None:
            shown = f"no number ({self.text!r})" if self.text is not None else "no number"
        else:
            number = self.found if m.is_lab or m.dimension == "state" else units.from_si(self.found, word)
            shown = f"{number:.6g} {word}"
        return f"{shown} at {self.time_utc:%Y-%m-%dT%H:%M:%SZ}"


def is_needed(store: Store, plant_file: PlantFile, decisions: Sequence[Decision]) -> bool:
    """Return whether there is, or was, a register or a decision."""
    if plant_file.corrections or decisions:
        return True
    return bool(
        store.rows("SELECT 1 FROM corrections UNION ALL SELECT 1 FROM dispositions UNION ALL SELECT 1 FROM corrections_applied LIMIT 1")
    )


def run(store: Store, plant_file: PlantFile, decisions: Sequence[Decision]) -> tuple[StepReceipt, list[Notice]]:
    """Apply register and decisions to the whole store and mark what changed, in one transaction.

    Notices name the entries that do not hold. Without entries or decisions the cost does not grow with the store.
    """
    started = clock.stopwatch()
    register = entries(plant_file)
    seen = _seen_now(store, plant_file, decisions)
    window = _window(store, seen)
    if window is not None:
        readings.make(store, plant_file, register, decisions, window)
    with store.transaction():
        written = _write_decisions(store, decisions)
        changed = 0 if window is None else readings.merge(store, plant_file, window)
        overlays = results.overlays(store, plant_file, register, decisions)
        changed += results.merge(store, overlays, plant_file)
        outcomes = _outcomes(store, register, overlays)
        listed = _write_register(store, plant_file, outcomes)
        _replaced(store, "corrections_seen", seen, "plant")
        if changed or listed or written:
            store.mark_days("publish", [_any_day(store, plant_file)])
    rows = {"corrections_applied": changed, "dispositions": written, "decisions": len(decisions)}
    rows |= {state: n for state in STATES if (n := sum(o.state == state for o in outcomes))}
    notices = [notice(o, store.plant) for o in outcomes]
    return StepReceipt("correct", 0, rows, clock.stopwatch() - started), [n for n in notices if n is not None]


def _seen_now(store: Store, plant_file: PlantFile, decisions: Sequence[Decision]) -> pl.DataFrame:
    """Return the row of `corrections_seen` to write at the end of this run."""
    digest = hashlib.sha256(plant_file.model_dump_json().encode()).hexdigest()[:16]
    last, count = store.rows("SELECT coalesce(max(received_seq), 0), count(*) FROM loads")[0]
    row = (store.plant, digest, decisions[-1].id if decisions else "", last, count)
    return pl.DataFrame([row], schema=TABLES["corrections_seen"].polars_schema(), orient="row")


def _window(store: Store, now: pl.DataFrame) -> Window | None:
    """Return the time span of readings to correct: that of loads since the last run, or all; None without new data.

    A correction depends on the readings of its time, the plant file and the decisions; if the latter two are unchanged,
    only the time spans of new loads can change.
    """
    before = store.frame("SELECT * FROM corrections_seen")
    same = ["register", "decision"]
    if before.height == 0 or not before.select(same).equals(now.select(same)):
        return readings.EVERYTHING
    seq, known = before.select("received_seq", "loads_seen").row(0)
    sql = "SELECT count(*) FILTER (received_seq <= $seq), min(first_utc) FILTER (received_seq > $seq), max(last_utc) FILTER (received_seq > $seq) FROM loads"
    there, first, last = store.rows(sql, {"seq": seq})[0]
    if there != known:
        return readings.EVERYTHING
    return None if first is None else Window(first, last + timedelta(microseconds=1))


def notice(outcome: Outcome, plant: str) -> Notice | None:
    """Return the notice on an entry that does not hold; None for one that holds, or whose data are not yet received."""
    c, where = outcome.entry.correction, f"{plant}.toml, correction {outcome.entry.id!r} (entry {outcome.entry.place})"
    data = {"plant": plant, "correction": c.id, "matched": outcome.matched, "contradicted": outcome.contradicted, "found": outcome.told}
    if outcome.state == "contradicted":
        sentence = (
            f"{where}: {c.subject} was expected to be {c.expect}, found {outcome.told}; {outcome.contradicted} of {outcome.matched} values are "
            "left as they came, marked uncertain; take the entry out if the plant has mended its data, else correct its time or `expect`"
        )
        return Notice(CONTRADICTED, sentence, data)
    if outcome.state == "matches nothing":
        sentence = (
            f"{where}: {c.subject} has no value between {outcome.entry.first:%Y-%m-%dT%H:%M:%SZ} and {_end(outcome.entry)} that it could match, "
            "though later data are there; correct its time, tag or file name, or take the entry out"
        )
        return Notice(UNMATCHED, sentence, data)
    return None


def _end(entry: Entry) -> str:
    return "the end" if entry.end == FAR_FUTURE else f"{entry.end:%Y-%m-%dT%H:%M:%SZ}"


def _outcomes(store: Store, register: Sequence[Entry], overlays: Sequence[results.Overlay]) -> list[Outcome]:
    by_reading = {row["correction_id"]: row for row in readings.matched(store).to_dicts()}
    by_result = results.matched(overlays)
    found = []
    for entry in register:
        if entry.correction.tag is not None:
            seen = readings.last_seen(store, entry.correction.tag)
            row = by_reading.get(entry.id, {})
            some = bool(row) or readings.has_values(store, entry)
            values = (row.get("matched", 0), row.get("contradicted", 0), row.get("time_utc"), row.get("found"), row.get("text"))
        else:
            seen = results.last_seen(store, entry)
            values = _counted(by_result.get(entry.place, []))
            some = values[0] > 0 or results.has_values(store, entry)
        found.append(Outcome(entry, *values, has_values=some, is_seen=seen is not None and seen >= entry.first))
    return found


def _counted(rows: list[dict[str, Any]]) -> tuple[int, int, datetime | None, float | None, str | None]:
    wrong = sorted((r for r in rows if not r["is_applied"]), key=lambda r: (r["time_utc"], r["subject"]))
    first = wrong[0] if wrong else {}
    return len(rows), len(wrong), first.get("time_utc"), first.get("raw_value"), first.get("raw_text")


def _write_register(store: Store, plant_file: PlantFile, outcomes: Sequence[Outcome]) -> bool:
    rows = [
        {
            "plant": store.plant, "correction_id": o.entry.id, "place": o.entry.place, "subject": o.entry.correction.subject,
            "from_utc": o.entry.first, "to_utc": o.entry.end, "action": o.entry.correction.action, "given": _given(o.entry),
            "expected": o.entry.correction.expect, "reason": o.entry.correction.reason, "who": o.entry.correction.who,
            "entered_utc": plant_file.calendar.until(o.entry.correction.entered), "state": o.state, "matched": o.matched,
            "contradicted": o.contradicted, "found": o.told,
        }
        for o in outcomes
    ]  # fmt: skip
    return _replaced(store, "corrections", pl.DataFrame(rows, schema=TABLES["corrections"].polars_schema()), "place")


def _given(entry: Entry) -> str | None:
    c = entry.correction
    return c.value if c.value is not None else None if c.factor is None else f"{c.factor:g}"


def _write_decisions(store: Store, decisions: Sequence[Decision]) -> int:
    """Update the table of decisions and the columns of set-aside rows from the file; mark the days of decided flags for watch."""
    if not decisions and not store.rows("SELECT 1 FROM dispositions LIMIT 1"):
        return 0
    rows = [
        {
            "plant": store.plant, "disposition_id": d.id, "place": k, "decided_utc": d.decided_utc, "kind": d.kind, "load_id": d.load_id,
            "line_no": d.line_no, "subject": d.subject, "line": d.line, "flag_id": d.flag_id, "disposition": d.disposition, "given": d.given,
            "who": d.who, "note": d.note, "owner": d.owner, "due_day": d.due_day,
        }
        for k, d in enumerate(decisions, start=1)
    ]  # fmt: skip
    if not _replaced(store, "dispositions", pl.DataFrame(rows, schema=TABLES["dispositions"].polars_schema()), "place"):
        _note_rows(store)  # new rows may have been received
        return 0
    _note_rows(store)
    days = store.rows("SELECT DISTINCT f.operating_day FROM flags f JOIN dispositions d USING (line, flag_id) ORDER BY 1")
    store.mark_days("watch", [day for (day,) in days])
    return len(rows)


def _note_rows(store: Store) -> None:
    store.con.execute(
        "UPDATE set_aside s SET disposition = d.disposition, disposition_role = d.who, disposition_note = d.note, disposition_utc = d.decided_utc "
        "FROM (SELECT * FROM dispositions WHERE kind = 'row' QUALIFY row_number() OVER (PARTITION BY load_id, line_no ORDER BY place DESC) = 1) d "
        "WHERE s.load_id = d.load_id AND s.line_no = d.line_no AND (s.disposition IS DISTINCT FROM d.disposition OR "
        "s.disposition_role IS DISTINCT FROM d.who OR s.disposition_note IS DISTINCT FROM d.note OR s.disposition_utc IS DISTINCT FROM d.decided_utc)"
    )


def _replaced(store: Store, table: str, frame: pl.DataFrame, order: str) -> bool:
    """Replace the content of a small table; return whether it differed."""
    if store.frame(f"SELECT * FROM {table} ORDER BY {order}").equals(frame):
        return False
    store.con.execute(f"DELETE FROM {table}")
    store.append(table, frame)
    return True


def _any_day(store: Store, plant_file: PlantFile) -> date:
    """Return one operating day, enough to make publish run: the tables of this step are compared as a whole."""
    last = store.rows("SELECT max(operating_day) FROM minutes")[0][0]
    return last if isinstance(last, date) else plant_file.calendar.operating_day(clock.now_utc())
