"""Decisions of people on set-aside rows and flags: find the rows, check them against the store, append to the plant's file.

All or nothing: either every chosen row can be decided so, or an error names those that cannot.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from pipelines.base import clock
from pipelines.base.errors import DataMissingError, UsageError
from pipelines.base.home import Home
from pipelines.decisions import decision_file
from pipelines.decisions.decision_file import Decision
from pipelines.plant import loader
from pipelines.plant.correction_entries import measure_of_tag
from pipelines.plant.corrections import Measure, measure_of_analyte
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from schemas.vocabulary import BAD

COUNTS = ("accept as is", "corrected to")  # dispositions that make a row count
_Row = dict[str, Any]
_SHOWN = 5  # named in an error
_REMEDY = "decide it as reject or ask plant; or mend the plant file and run `flocledger rebuild`"


@dataclass(frozen=True)
class RowFilter:
    """Filter of set-aside rows; every given part must match."""

    file: str | None = None
    load_id: str | None = None
    line_no: int | None = None
    reason: str | None = None
    tag: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    only_open: bool = False


@dataclass(frozen=True)
class FlagFilter:
    """Filter of flags; every given part must match."""

    flag_id: str | None = None
    line: str | None = None
    detector: str | None = None
    day: date | None = None
    only_open: bool = False


@dataclass(frozen=True)
class Verdict:
    """A decision, the role that made it, and why; `given` is the replacement value with its unit, `owner` the role that sees to a flag."""

    disposition: str
    who: str
    note: str
    given: str | None = None
    owner: str | None = None
    due_day: date | None = None


@dataclass(frozen=True)
class Chosen:
    """What a filter found, as rows of `set_aside` (with file_name) or `flags`; and the decisions kept, none in a dry run."""

    rows: list[_Row]
    decisions: list[Decision]


def decide_rows(
    home: Home, plant_id: str, chosen: RowFilter, verdict: Verdict, *, count: int | None = None, dry_run: bool = False
) -> Chosen:
    """Decide set-aside rows and record the decisions; more than one row needs `count`, the number found.

    UsageError when a row cannot be decided so, DataMissingError when none matches; nothing is recorded then.
    """
    plant_file = loader.of_plant(home, plant_id)
    with Store(home.store(plant_id), plant_id, read_only=dry_run) as store:
        rows = _rows(store, chosen)
        _confirmed(len(rows), "set-aside row", count, dry_run=dry_run)
        decisions = _decisions_on_rows(store, plant_file, rows, chosen.tag, verdict)
        return Chosen(rows, [] if dry_run else decision_file.append(home.dispositions(plant_id), decisions))


def decide_flags(
    home: Home, plant_id: str, chosen: FlagFilter, verdict: Verdict, *, count: int | None = None, dry_run: bool = False
) -> Chosen:
    """Decide flags and record the decisions; more than one flag needs `count`, the number found."""
    with Store(home.store(plant_id), plant_id, read_only=dry_run) as store:
        rows = _flags(store, chosen)
        _confirmed(len(rows), "flag", count, dry_run=dry_run)
        now = clock.now_utc()
        decisions = [
            Decision(
                now,
                "flag",
                verdict.disposition,
                verdict.who,
                verdict.note,
                line=r["line"],
                flag_id=r["flag_id"],
                owner=verdict.owner,
                due_day=verdict.due_day,
            )
            for r in rows
        ]
        return Chosen(rows, [] if dry_run else decision_file.append(home.dispositions(plant_id), decisions))


def _rows(store: Store, chosen: RowFilter) -> list[_Row]:
    return store.frame(
        "SELECT l.file_name, s.* FROM set_aside s JOIN loads l USING (plant, load_id) WHERE ($file IS NULL OR l.file_name = $file) "
        "AND ($load IS NULL OR s.load_id = $load) AND ($line IS NULL OR s.line_no = $line) AND ($reason IS NULL OR s.reason = $reason) "
        "AND ($tag IS NULL OR contains(', ' || s.tags || ', ', ', ' || $tag || ', ')) AND ($since::TIMESTAMPTZ IS NULL OR s.first_utc >= $since) "
        "AND ($until::TIMESTAMPTZ IS NULL OR s.first_utc < $until) AND (NOT $open OR s.disposition IS NULL) ORDER BY l.received_seq, s.line_no",
        file=chosen.file, load=chosen.load_id, line=chosen.line_no, reason=chosen.reason, tag=chosen.tag, since=chosen.since,
        until=chosen.until, open=chosen.only_open,
    ).to_dicts()  # fmt: skip


def _flags(store: Store, chosen: FlagFilter) -> list[_Row]:
    return store.frame(
        "SELECT * FROM flags WHERE ($flag IS NULL OR flag_id = $flag) AND ($line IS NULL OR line = $line) "
        "AND ($detector IS NULL OR detector = $detector) AND ($day::DATE IS NULL OR operating_day = $day) "
        "AND (NOT $open OR disposition IS NULL) ORDER BY start_utc, flag_id",
        flag=chosen.flag_id, line=chosen.line, detector=chosen.detector, day=chosen.day, open=chosen.only_open,
    ).to_dicts()  # fmt: skip


def _confirmed(found: int, what: str, count: int | None, *, dry_run: bool) -> None:
    """Refuse to decide nothing, or more than was confirmed."""
    if found == 0:
        raise DataMissingError(f"no {what} fits", remedy=f'`flocledger ask "FROM {"flags" if what == "flag" else "set_aside"}"` lists them')
    if dry_run or count == found or (count is None and found == 1):
        return
    told = f"{found} {what}s fit" if found > 1 else f"one {what} fits"
    told += f", not {count}" if count is not None else ""
    raise UsageError(f"{told}; nothing was decided", remedy=f"look at them with --dry-run, then confirm with --count {found}")


def _decisions_on_rows(store: Store, plant_file: PlantFile, rows: list[_Row], tag: str | None, verdict: Verdict) -> list[Decision]:
    if (verdict.given is not None) != (verdict.disposition == "corrected to"):
        raise UsageError(
            "a value belongs to `corrected to`, and to nothing else",
            remedy='write --as "corrected to" --value "412 gpm", or leave --value out',
        )
    now = clock.now_utc()
    decisions, problems = [], []
    for row in rows:
        plain = Decision(
            now, "row", verdict.disposition, verdict.who, verdict.note, verdict.given, load_id=row["load_id"], line_no=row["line_no"],
            subject=tag,
        )  # fmt: skip
        if verdict.disposition not in COUNTS:
            decisions.append(plain)
            continue
        try:
            decisions.append(_counting(store, plant_file, row, plain))
        except ValueError as problem:
            problems.append(f"{row['file_name']}, line {row['line_no']}: {problem}")
    if problems:
        more = f"\n  and {len(problems) - _SHOWN} more" if len(problems) > _SHOWN else ""
        told = "\n  ".join(problems[:_SHOWN])
        raise UsageError(f"cannot be decided as {verdict.disposition!r}; nothing was decided:\n  {told}{more}", remedy=_REMEDY)
    return decisions


def _counting(store: Store, plant_file: PlantFile, row: _Row, decision: Decision) -> Decision:
    """Return a decision that makes a row count, its subject named; ValueError says why it cannot."""
    values = _values(store, row, decision.subject)
    if not values:
        raise ValueError("it is not known what the row speaks of: no tag and time, or no sample, that can be trusted")
    if decision.disposition == "corrected to":
        if len(values) > 1:
            raise ValueError(f"{len(values)} values are set aside; name one with --tag: {', '.join(v['subject'] for v in values)}")
        decision = replace(decision, subject=values[0]["subject"])
    for value in values:
        measure = _measure(plant_file, value)
        if decision.given is not None:
            measure.given(decision.given)
        elif value["value"] is None:
            raise ValueError(f"{value['subject']}: {value['text']!r} is no number that could count; correct it to a value")
        elif not measure.bounds[0] <= value["value"] <= measure.bounds[1]:
            low, high = measure.bounds
            raise ValueError(
                f"{value['subject']}: {value['value']:.6g} {measure.stored} is outside what can be ({low:g} to {high:g}); correct it to a value"
            )
        _is_free(store, value)
    return decision


def _values(store: Store, row: _Row, subject: str | None) -> list[_Row]:
    """Return the values set aside of a row whose place is known: subject, text, value, and tag and time or sample and analyte."""
    within = {"load": row["load_id"], "line": row["line_no"], "subject": subject}
    readings = store.frame(
        "SELECT tag AS subject, tag, time_utc, text, value FROM set_aside_values "
        "WHERE load_id = $load AND line_no = $line AND ($subject IS NULL OR tag = $subject) ORDER BY tag",
        **within,
    )
    results = store.frame(
        "SELECT subject, sample_id, analyte, text, value FROM set_aside_results "
        "WHERE load_id = $load AND line_no = $line AND ($subject IS NULL OR subject = $subject) ORDER BY subject",
        **within,
    )
    return readings.to_dicts() + results.to_dicts()


def _measure(plant_file: PlantFile, value: _Row) -> Measure:
    return measure_of_analyte(value["analyte"]) if "analyte" in value else measure_of_tag(value["tag"], plant_file)


def _is_free(store: Store, value: _Row) -> None:
    """Raise ValueError when something else stands where the value would count."""
    if "analyte" in value:
        held = store.rows(
            "SELECT value, unit FROM lab_results_history WHERE sample_id = $s AND analyte = $a ORDER BY revision DESC LIMIT 1",
            {"s": value["sample_id"], "a": value["analyte"]},
        )
        if held:
            raise ValueError(f"sample {value['sample_id']} has a result of its own: {held[0][0]:g} {held[0][1]}")
        return
    held = store.rows("SELECT value, quality FROM readings WHERE tag = $t AND time_utc = $at", {"t": value["tag"], "at": value["time_utc"]})
    if held and held[0][1] != BAD:
        raise ValueError(f"{value['tag']}: another reading stands at that time: {held[0][0]:g} in the internal unit")


def _assigned(row: _Row) -> str:
    due = f", due {row['due_day']}" if row["due_day"] else ""
    return f", {row['owner']}{due}" if row["owner"] else due


def described(chosen: Chosen, shown: int = 20) -> Iterable[str]:
    """Yield a line for each row or flag, at most `shown` of them."""
    for row in chosen.rows[:shown]:
        if "flag_id" in row:
            yield f"{row['flag_id']}: {row['sentence']} ({row['disposition'] or 'open'}{_assigned(row)})"
        else:
            yield f"{row['file_name']}, line {row['line_no']}: {row['reason']}: {row['detail'] or ''} ({row['disposition'] or 'open'})"
    if len(chosen.rows) > shown:
        yield f"and {len(chosen.rows) - shown} more"
