"""Doubted meters and open solids balances as flags: one flag a meter from its first to its last doubted week."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from pipelines.plant.calendar import Calendar
from pipelines.watch.episodes import Facts
from pipelines.watch.integrity.verdicts import DOUBTED
from pipelines.watch.words import Flag
from schemas.detectors import THIS_WEEK, TODAY

METER, BALANCE = "meter doubted", "solids balance open"
DETECTORS = (METER, BALANCE)
WITHHELD_PCT = 20.0  # as in sql/views/meter_doubts.sql
_WEEK = timedelta(days=7)
_NAMES = {"feed_solids": "feed TS"}
Row = Mapping[str, Any]


def week_flags(rows: Sequence[Row], calendar: Calendar) -> list[tuple[Flag, str]]:
    """Return the flags (with the data version of their last week) of the doubted rows of `meter_integrity`.

    Where nothing but the solids balance speaks against a line's meters, one flag "solids balance open" stands for them; a
    balance of all lines stands with the first of them.
    """
    found, seen = list[tuple[Flag, str]](), set[date]()
    doubted = sorted((r for r in rows if r["verdict"] == DOUBTED), key=lambda r: (r["line"], _subject(r), r["week_start_day"], r["role"]))
    for (_, subject), same in groupby(doubted, key=lambda r: (r["line"], _subject(r))):
        by_week = {week: list(group) for week, group in groupby(same, key=lambda r: r["week_start_day"])}
        for weeks in _runs(sorted(by_week)):
            rows_of = [r for week in weeks for r in by_week[week]]
            if subject == _ALL_LINES and weeks[0] in seen:
                continue
            seen |= {weeks[0]} if subject == _ALL_LINES else set()
            found.append((_flag(subject, weeks, rows_of, calendar), str(rows_of[-1]["data_version"])))
    return found


_LINE, _ALL_LINES = "solids balance", "solids balance of all lines"


def _subject(row: Row) -> str:
    """Return the role a doubt is about, or the balance when nothing else speaks against it."""
    against = {said.split(":", 1)[0] for said in str(row["reason"]).split("; ")}
    return next((only for only in (_LINE, _ALL_LINES) if against == {only}), str(row["role"]))


def _runs(weeks: Sequence[date]) -> list[list[date]]:
    """Return weeks (sorted) cut where they do not follow each other."""
    out: list[list[date]] = []
    for week in weeks:
        if out and week - out[-1][-1] == _WEEK:
            out[-1].append(week)
        else:
            out.append([week])
    return out


def _flag(subject: str, weeks: Sequence[date], rows: Sequence[Row], calendar: Calendar) -> Flag:
    worst = max(rows, key=lambda r: (abs(r["deviation_pct"]), r["week_start_day"], r["role"]))
    start, end = calendar.day_start(weeks[0]), calendar.day_start(weeks[-1] + _WEEK)
    off, days = float(worst["deviation_pct"]), 7 * len(weeks)
    role = None if subject in (_LINE, _ALL_LINES) else subject
    lasting = "in one week" if len(weeks) == 1 else f"in {len(weeks)} weeks"
    withheld = abs(off) > WITHHELD_PCT
    what = "are withheld" if withheld else f"are widened by {abs(off):.0f} %"
    if role is None:
        says = f"The solids balance{' of all lines' if subject == _ALL_LINES else ''} did not close {lasting}: {_told(worst)}. Numbers that rest on the feed {what}."
    else:
        name = _NAMES.get(role, role.replace("_", " "))
        says = (
            f"The {name} reads {abs(off):.0f} % {'high' if off > 0 else 'low'} {lasting}: {_told(worst)}. Numbers that rest on it {what}."
        )
    facts: Facts = {"deviation_pct": off, "weeks": len(weeks), **json.loads(worst["evidence"])}
    severity = TODAY if withheld and role is not None else THIS_WEEK
    detector = BALANCE if role is None else METER
    return Flag(detector, str(worst["line"]), role, weeks[0], start, end, days * 1440, severity, says, facts)


def _told(row: Row) -> str:
    return "; ".join(said.split(": ", 1)[1] for said in str(row["reason"]).split("; "))
