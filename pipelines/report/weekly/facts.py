"""The facts of a weekly page: rows of the published file to numbers, words and sentences. Pure.

Every printed number is a `Number` that names the table, column and key it comes from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from pipelines.report import words
from pipelines.report.weekly import events, uncertainty
from pipelines.report.weekly.events import Event
from pipelines.report.weekly.read import LineData, Row, WeekData
from pipelines.report.weekly.standing import Standing, open_items, standing, to_print
from pipelines.report.words import Limits, Printed, counted

# A line's numbers are withheld when more than this share of its evidence is missing (common practice, no source).
WITHHELD_SHARE = 0.5
# KPIs that rest on the feed TS: provisional while one is awaited, held where none is.
ON_FEED_TS = ("dose_active_kg_t", "capture_pct", "cost_total_per_t", "dry_solids_t")
# Share of processing minutes without every meter the dose needs that is worth a word (the gate of a day is the same).
MISSED_WORTH_A_WORD = 0.10
MOST_OPEN_ITEMS = 3
ROLE_WORDS = {
    "sludge_flow": "sludge flow meter",
    "polymer_neat_flow": "neat polymer flow meter",
    "polymer_solution_flow": "polymer solution flow meter",
}


@dataclass(frozen=True)
class Number:
    """A printed number and where it comes from; `stored` is in the unit of the table."""

    name: str
    text: str
    unit: str
    stored: float | int | None
    table: str
    column: str
    key: dict[str, str]


@dataclass(frozen=True)
class KpiRow:
    """One of the six: as printed, with its "± ..." (k = 2, empty when not known), words, and the values (printed unit) for its range bar."""

    printed: Printed
    this: str
    within: str
    last: str
    usual: str
    target: str
    extra: str
    last_extra: str
    words: tuple[str, ...]
    provisional: bool
    held: bool
    basis: str
    this_shown: float | None
    last_shown: float | None
    limits: Limits


@dataclass(frozen=True)
class LineFacts:
    """What the page says about one line; `withheld` is the reason when it says nothing else."""

    data: LineData
    withheld: str | None
    rows: tuple[KpiRow, ...] = ()
    sentences: tuple[str, ...] = ()
    open_items: tuple[Row, ...] = ()
    more_items: int = 0
    data_line: str = ""
    numbers: tuple[Number, ...] = field(default=())
    logged: tuple[Event, ...] = ()
    standing: Standing | None = None


def of_line(
    week: WeekData, data: LineData, limits: dict[str, Limits], logged: tuple[Event, ...] = (), unmeasured: frozenset[str] = frozenset()
) -> LineFacts:
    """Return the facts of one line; `limits` by KPI column, in stored units; `logged` its events of the shown weeks, `unmeasured` KPIs it has no signals for."""
    reason = withheld(data)
    if reason is not None or data.this is None:
        return LineFacts(data, reason)
    printed = words.six(data.settings["units"], data.settings)
    in_week = [d for d in data.days if d["operating_day"] >= week.week_start_day]
    state = standing(week, data, in_week)
    rows = tuple(_kpi_row(week, p, data, in_week, limits.get(p.kpi, Limits()), state, p.kpi not in unmeasured) for p in printed)
    items = open_items(week, data)
    event = events.sentence(week, logged)
    sentences = (happened(data, rows, state), *([event] if event else []), compared(week, data, rows, logged), decision(data, rows, items))
    return LineFacts(
        data, None, rows, sentences, to_print(items, MOST_OPEN_ITEMS), max(0, len(items) - MOST_OPEN_ITEMS), data_line(data.this, in_week, data.quality, state.words(bool(items))),
        _numbers(data, rows, in_week), logged, state,
    )  # fmt: skip


def withheld(data: LineData) -> str | None:
    """Return why a line's numbers are not reported at all; None when they are."""
    this = data.this
    if this is None or not this["minutes_seen"]:
        return "no data of this line are published for the week"
    unknown = this["unknown_minutes"] / this["minutes_seen"]
    if unknown > WITHHELD_SHARE:
        return f"the running state is unknown for {unknown * 100:.0f} % of the week"
    meter = f"polymer_{data.settings['polymer_meter']}_flow"
    for role in data.quality:
        if role["role"] in ("sludge_flow", meter) and role["processing_minutes"]:
            missing = role["missing_processing_minutes"] / role["processing_minutes"]
            if missing > WITHHELD_SHARE:
                return f"the {ROLE_WORDS[role['role']]} is missing in {missing * 100:.0f} % of the processing minutes"
    return None


def happened(data: LineData, rows: tuple[KpiRow, ...], state: Standing) -> str:
    """Return the first sentence: hours, days, dry solids, dose."""
    this = data.this or {}
    if not this["processing_minutes"]:
        return f"{data.name} did not process sludge this week."
    days = counted(this["operating_days"], "day")
    dose, solids = rows[0], rows[4].printed
    start = f"{data.name} processed sludge for {words.one_decimal(this['processing_h'])} hours on {days}"
    fed = solids.text(this["dry_solids_t"])
    if this["dose_active_kg_t"] is not None:
        held = " (provisional)" if state.is_provisional else ""
        amount = f"{dose.this} {dose.within}".strip()
        return f"{start} and was fed {fed} {solids.unit}; polymer was {amount} {dose.printed.unit}{held}."
    known = f"only {fed} {solids.unit} could be counted" if fed is not None else "no dry solids could be counted"
    return f"{start}; {known} and no dose is reported: {this['dose_reason'] or 'reason not given'}."


def compared(week: WeekData, data: LineData, rows: tuple[KpiRow, ...], logged: tuple[Event, ...]) -> str:
    """Return the sentence that compares: the dose against last week and the usual range, cake and capture against target."""
    if not (data.this or {}).get("processing_minutes"):
        return "There is nothing to compare with last week."
    dose, cake, capture = rows[0], rows[1], rows[2]
    parts = [_dose_compared(week, data, dose, logged)]
    for row, subject, unit in ((cake, "cake was", "% solids"), (capture, "capture was", "%")):
        if row.this_shown is None:
            parts.append(f"there is {words.NOT_ENOUGH} {'how dry the cake was' if row is cake else 'what was captured'}")
        else:
            parts.append(f"{subject} {row.this} {unit}, {' and '.join(row.words)}")
    return "; ".join(parts) + "."


def _dose_compared(week: WeekData, data: LineData, dose: KpiRow, logged: tuple[Event, ...]) -> str:
    this = (data.this or {})["dose_active_kg_t"]
    if this is None:
        return "Without a dose there is nothing to compare"
    versus = _versus_last(week, data, this, logged)
    usual = words.against_usual(dose.printed, this, dose.limits)
    if usual is None:
        return f"The dose {versus}, and no usual range is set"
    is_said = versus.startswith("is ") and not versus.startswith("is not compared")
    return f"The dose {versus} and {'' if is_said else 'is '}{usual} ({dose.usual})"


def _versus_last(week: WeekData, data: LineData, this: float, logged: tuple[Event, ...]) -> str:
    """Return how the dose stands to last week's: told only when larger than both weeks' noise, and when no event lies between."""
    last = (data.last or {}).get("dose_active_kg_t")
    if last is None:
        return "is not compared with last week, which has no dose"
    why = events.why_not_compared(week, logged)
    if why is not None:
        return f"is not compared with last week ({why})"
    start, before = week.week_start_day, week.week_start_day - timedelta(days=7)
    noise = (
        uncertainty.dose_noise(data.this_known, [d for d in data.days if d["operating_day"] >= start]),
        uncertainty.dose_noise(data.last_known, [d for d in data.days if before <= d["operating_day"] < start]),
    )
    if uncertainty.differ(this, last, noise) is False:
        return "shows no difference from last week that can be told"
    return f"is {words.change(this, last)}"


def decision(data: LineData, rows: tuple[KpiRow, ...], items: tuple[Row, ...]) -> str:
    """Return the third sentence: what needs a decision, from open flags, targets and the share of usable minutes."""
    missed = (data.this or {}).get("missed_share")
    if not items:
        if missed is not None and missed > MISSED_WORTH_A_WORD:
            return f"No flag is open, but {missed * 100:.0f} % of the processing minutes lack a meter the dose needs: have it checked."
        if (data.this or {}).get("processing_minutes") and (data.this or {})["dose_active_kg_t"] is None:
            return "No flag is open, but the dose could not be reported: see that exports and lab sheets of the week arrive."
        outside = [r.printed.label.lower() for r in rows if "outside target" in r.words]
        if outside:
            listed = f"{', '.join(outside[:-1])} and {outside[-1]} are" if len(outside) > 1 else f"{outside[0]} is"
            return f"No flag is open, but {listed} outside target: find out why before anything is changed."
        return "Nothing needs a decision."
    first = items[0]
    what, look = _bare(first["sentence"]), _bare(first["suggestion"])
    start = (
        "One thing needs a decision"
        if len(items) == 1
        else f"{_NUMBERS.get(len(items), str(len(items)))} things need a decision, the first"
    )
    return f"{start}: {what} ({first['severity']}; first: {look})."


_NUMBERS = {2: "Two", 3: "Three", 4: "Four", 5: "Five", 6: "Six", 7: "Seven", 8: "Eight", 9: "Nine"}


def _bare(sentence: str) -> str:
    return sentence.strip().rstrip(".")


def data_line(this: Row, in_week: list[Row], quality: tuple[Row, ...], stands: str) -> str:
    """Return the line that says how far the numbers can be trusted."""
    worked = [d for d in in_week if d["processing_minutes"]]
    sampled = sum(1 for d in worked if d["feed_samples"])
    usable = (
        "no processing minutes" if this["missed_share"] is None else f"{floor_pct(1 - this['missed_share'])} % of processing minutes usable"
    )
    parts = [usable, f"feed TS sampled on {sampled} of {counted(len(worked), 'processing day')}"]
    missed = [q for q in quality if q["covered_share"] is not None and floor_pct(q["covered_share"]) < 100]
    if missed:
        least = min(missed, key=lambda q: (q["covered_share"], q["role"]))
        parts.append(f"least known signal: {spoken(least['role'])}, {floor_pct(least['covered_share'])} % of the week")
    return "; ".join([*parts, stands])


def floor_pct(share: float) -> int:
    """Return whole percent rounded down, so that 100 means all; a hair is added for what doubles cannot say."""
    return math.floor(share * 100.0 + 1e-9)


def spoken(role: str) -> str:
    """Return a role in words."""
    return ROLE_WORDS.get(role, role.replace("_", " "))


def _kpi_row(
    week: WeekData, printed: Printed, data: LineData, in_week: list[Row], limits: Limits, state: Standing, is_measured: bool
) -> KpiRow:
    this, last = (data.this or {})[printed.kpi], (data.last or {}).get(printed.kpi)
    printed = printed.beside(this, last)
    shown, before = printed.text(this), printed.text(last)
    u = uncertainty.of_week(printed.kpi, data, in_week)
    on_feed_ts = printed.kpi in ON_FEED_TS and this is not None
    return KpiRow(
        printed,
        shown or "-",
        "" if shown is None or u is None else words.plus_minus(shown, uncertainty.COVERAGE * u * printed.factor),
        before or "-",
        words.usual_text(printed, limits),
        words.target_text(printed, limits),
        _hours(printed, data.this),
        _hours(printed, data.last),
        words.judged(printed, this, limits) if is_measured or this is not None else (words.NOT_MEASURED,),
        state.is_provisional and on_feed_ts,
        on_feed_ts and not state.is_provisional and any(d["is_provisional"] and not d["feed_samples"] for d in in_week),
        basis(printed.kpi, week, in_week, data.this or {}) if is_measured else "no such signal in the plant file",
        None if shown is None else words.as_printed(shown),
        None if before is None else words.as_printed(before),
        limits,
    )


def _hours(printed: Printed, row: Row | None) -> str:
    """Return the hours that belong beside the dry solids; empty for other rows."""
    if printed.kpi != "dry_solids_t" or row is None:
        return ""
    return f"{words.one_decimal(row['processing_h'] or 0.0)} h"


def basis(kpi: str, week: WeekData, in_week: list[Row], this: Row) -> str:
    """Return what a number rests on, with the number of valid days."""
    worked = sum(1 for d in in_week if d["processing_minutes"])
    valid = sum(1 for d in in_week if d.get(kpi) is not None)
    of = f"{valid} of {counted(worked, 'day')}"
    if kpi == "cake_ts_pct":
        return f"weighted by dry solids; {counted(this['cake_samples'], 'sample')}, {counted(valid, 'day')}"
    if kpi == "capture_pct":
        return f"from samples, {'dilution ' + format(this['dilution_ratio'], '.2f') if this.get('dilution_ratio') else 'undiluted assumed'}; {of}"
    if kpi == "cost_total_per_t":
        since = week.prices_since
        return f"terms with a price{f' since {since.astimezone(week.zone):%Y-%m-%d}' if since else ''}; {of}"
    if kpi == "dry_solids_t":
        return f"in valid minutes; hours in processing; {of}"
    if kpi == "mixing_dp_ref_kpa":
        method = {"fit": "fit of dP over flow", "scaled": "scaled by flow squared"}.get(this.get("mixing_dp_ref_method") or "", "no method")
        return f"{method}; {of}"
    return f"ratio of totals over valid minutes; {of}"


def _numbers(data: LineData, rows: tuple[KpiRow, ...], in_week: list[Row]) -> tuple[Number, ...]:
    """Return every printed number of the line with its place in the published file."""
    out: list[Number] = []
    printed = [r.printed for r in rows]
    for row, when in ((data.this, "this week"), (data.last, "last week")):
        if row is None:
            continue
        key = {"plant": row["plant"], "line": row["line"], "week_start_day": str(row["week_start_day"])}
        for p in printed:
            out.append(Number(f"{p.label}, {when}", p.text(row[p.kpi]) or "-", p.unit, row[p.kpi], "kpi_week", p.kpi, key))
        out.append(
            Number(
                f"hours in processing, {when}",
                words.one_decimal(row["processing_h"] or 0.0),
                "h",
                row["processing_h"],
                "kpi_week",
                "processing_h",
                key,
            )
        )
        if when == "this week":
            out += [_plain(row, c, key) for c in ("operating_days", "cake_samples", "missed_share", "dilution_ratio")]
            if data.this_known is not None:
                out.append(_plain(data.this_known, "dose_active_kg_t_u", key, "dose_uncertainty_week"))
    for day in in_week:
        key = {"plant": day["plant"], "line": day["line"], "operating_day": str(day["operating_day"])}
        for p in printed:
            out.append(Number(f"{p.label}, {day['operating_day']}", p.text(day[p.kpi]) or "-", p.unit, day[p.kpi], "kpi_day", p.kpi, key))
        out += [
            _plain(day, c, key, "kpi_day") for c in ("feed_samples", "cake_ts_pct_u", "capture_pct_u", "cost_total_per_t_u") if c in day
        ]
    return tuple(out)


def _plain(row: Row, column: str, key: dict[str, Any], table: str = "kpi_week") -> Number:
    value = row[column]
    return Number(column.replace("_", " "), "-" if value is None else f"{value:.4g}", "as stored", value, table, column, dict(key))


def shown_days(week: WeekData) -> list[Any]:
    """Return the operating days of the charts, oldest first."""
    first = week.first_shown_day
    return [first + timedelta(days=k) for k in range((week.week_start_day - first).days + 7)]
