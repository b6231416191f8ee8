"""The charts of one line: which values they show, their titles (the finding), and the words for readers who do not see them."""

from __future__ import annotations

from datetime import date, timedelta

from pipelines.report import words
from pipelines.report.weekly import figures
from pipelines.report.weekly.events import Event
from pipelines.report.weekly.facts import KpiRow, LineFacts, shown_days
from pipelines.report.weekly.read import SHOWN_WEEKS, Row, WeekData
from pipelines.report.words import Printed, counted

__all__ = ["SHOWN_WEEKS", "notes", "of_line"]
WEEK = 7  # days
_TOLD = ("processing", "idle running", "stopped", "unknown")  # states whose hours the title gives


def of_line(week: WeekData, line: LineFacts) -> list[dict[str, str]]:
    """Return the charts of the line's page, in order: title, svg, alt, note."""
    days = shown_days(week)
    dose, cake, capture, mixing = line.rows[0], line.rows[1], line.rows[2], line.rows[5]
    marks = [figures.Mark(event.day, k) for k, event in enumerate(line.logged, 1)]
    daily, rolling = _daily(days, line.data.days, dose.printed), _daily(days, line.data.rolling, dose.printed)
    captured, dp = _daily(days, line.data.days, capture.printed), _daily(days, line.data.days, mixing.printed)
    samples = _samples(week, line.data.cake)
    found = [
        {
            "title": _finding("Polymer dose", dose),
            "svg": figures.dose(days, daily, rolling, dose.printed, dose.limits, WEEK, marks),
            "alt": _alt("Daily polymer dose with rolling 7-day line", daily, dose.printed),
            "note": notes(line.logged),
        },
        {
            "title": f"{_finding('Cake', cake)}; {_finding('capture', capture).replace(' this week', '')}",
            "svg": figures.product(days, samples, (cake.printed, cake.limits), captured, (capture.printed, capture.limits), WEEK),
            "alt": f"{_alt('Cake samples', [v for _, v in samples], cake.printed)} {_alt('Daily capture', captured, capture.printed)}",
            "note": "",
        },
        {
            "title": _finding(mixing.printed.label, mixing),
            "svg": figures.mixing(days, dp, mixing.printed, mixing.limits, WEEK, marks),
            "alt": _alt(mixing.printed.label, dp, mixing.printed),
            "note": "",
        },
        _strip(week, line),
    ]
    return found if words.NOT_MEASURED not in mixing.words else [*found[:2], found[3]]


def _daily(days: list[date], rows: tuple[Row, ...], printed: Printed) -> list[float | None]:
    by_day = {r["operating_day"]: r[printed.kpi] for r in rows}
    found = [by_day.get(d) for d in days]
    return [None if v is None else v * printed.factor for v in found]


def _samples(week: WeekData, cake: tuple[Row, ...]) -> list[tuple[float, float]]:
    """Return place and value of each sample: in the middle of the span in which it can have been taken."""
    start = week.start_utc - timedelta(days=WEEK * (SHOWN_WEEKS - 1))
    return [(figures.position(r["from_utc"] + timedelta(hours=r["half_width_h"] or 0.0), start), r["value"]) for r in cake]


def notes(events: tuple[Event, ...]) -> str:
    """Return the words that explain the marks, each text once."""
    by_what: dict[str, list[int]] = {}
    for k, event in enumerate(events, 1):
        by_what.setdefault(event.what, []).append(k)
    return " ".join(
        f"Event{'s' if len(ks) > 1 else ''} {', '.join(map(str, ks))}, {events[ks[0] - 1].day}{f' to {events[ks[-1] - 1].day}' if len(ks) > 1 else ''}: {what}."
        for what, ks in by_what.items()
    )


def _finding(what: str, row: KpiRow) -> str:
    """Return the title that says what the chart shows: "Polymer dose: 20.9 lb ... this week, in target, within usual range"."""
    if row.this_shown is None:
        return f"{what}: {words.NOT_ENOUGH} this week"
    unit = "%" if row.printed.unit.startswith("%") else row.printed.unit
    return f"{what}: {row.this} {unit} this week, {', '.join(row.words)}"


def _alt(what: str, values: list[float | None] | list[float], printed: Printed) -> str:
    known = [v for v in values if v is not None]
    if not known:
        return f"{what}: no values in these weeks."
    ends = f"from {printed.digits(min(known))} to {printed.digits(max(known))} {printed.unit}"
    return f"{what}: {counted(len(known), 'value')}, {ends}; gaps stay empty."


def _strip(week: WeekData, line: LineFacts) -> dict[str, str]:
    days = [week.week_start_day + timedelta(days=k) for k in range(WEEK)]
    starts = {d: min((s["start_utc"] for s in line.data.states if s["operating_day"] == d), default=None) for d in days}
    states = []
    hours: dict[str, float] = {}
    for s in line.data.states:
        begin = starts[s["operating_day"]]
        length = (s["end_utc"] - s["start_utc"]).total_seconds() / 3600.0
        hours[s["state"]] = hours.get(s["state"], 0.0) + length
        if begin is not None:
            states.append((days.index(s["operating_day"]), (s["start_utc"] - begin).total_seconds() / 3600.0, length, s["state"]))
    told = ", ".join(f"{name} {words.one_decimal(hours[name])} h" for name in _TOLD if round(hours.get(name, 0.0), 1)) or "no minutes"
    return {
        "title": f"Running state: {told}",
        "svg": figures.strip(days, states, line.data.settings["operating_day_start_h"]),
        "alt": f"Running state by operating day and hour: {told}.",
        "note": "",
    }
