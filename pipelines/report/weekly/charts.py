"""The figures of one line: which values they show, their titles (the finding), and the words for readers who do not see them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from pipelines.base import units
from pipelines.plant.calendar import Calendar, wall_time
from pipelines.report import style
from pipelines.report.language import Language
from pipelines.report.numbers import Printed, one_decimal
from pipelines.report.pump_index import WIDEST_PUMP, half_width, index_of
from pipelines.report.weekly import figures
from pipelines.report.weekly.facts import KpiRow, LineFacts, charted_days
from pipelines.report.weekly.figures import WEEK, Arm, Backdrop
from pipelines.report.weekly.queries import Row
from pipelines.report.weekly.rows import WeekData
from pipelines.report.weekly.sentences import change

_BETWEEN_IN = 0.12  # of small figures side by side
_TOLD = ("processing", "idle running", "stopped", "unknown")  # states whose hours the title gives


@dataclass(frozen=True)
class Chart:
    """A figure: its title (the finding), SVG, words for readers who do not see it, a note, and the values behind it for reading one by one."""

    title: str
    svg: str
    alt: str
    note: str = ""
    is_half: bool = False
    points: tuple[tuple[str, str], ...] = field(default=())  # (when, value as printed)

    def content(self) -> dict[str, Any]:
        return {
            "title": self.title,
            "svg": self.svg,
            "alt": self.alt,
            "note": self.note,
            "half": self.is_half,
            "points": [list(p) for p in self.points],
        }


def dose(week: WeekData, line: LineFacts, t: Language, *, name: str | None = None, height_in: float = 1.75) -> Chart:
    """Return the dose of the shown weeks with baseline band, target, arms, events and polymer lots."""
    row, days = line.row("dose"), charted_days(week)
    daily, rolling = _daily(days, line.data.days, row.printed), _daily(days, line.data.rolling, row.printed)
    title = _finding(row, line.mixed, t)
    return Chart(
        title if name is None else f"{name}. {title}",
        figures.dose(_behind(week, line, row), daily, rolling, row.printed.unit, t, height_in),
        _alt(row.printed.label, daily, row.printed, t),
        points=_points(days, daily, row.printed, t),
    )


def rest(week: WeekData, line: LineFacts, t: Language) -> list[Chart]:
    """Return the other figures of a line, in order."""
    small = [_dose_cake, _mixing, _pump]
    shown = [make for make in small if make(week, line, t, figures.HALF_IN) is not None]
    width_in = (style.WIDTH_IN - _BETWEEN_IN * (len(shown) - 1)) / max(2, len(shown))
    clouds = [made for make in shown if (made := make(week, line, t, width_in)) is not None]
    return [_product(week, line, t), *clouds, _strip(week, line, t)]


def _behind(week: WeekData, line: LineFacts, row: KpiRow) -> Backdrop:
    f = row.printed.factor
    levels = tuple(x * f for x in (row.limits.at_least, row.limits.at_most) if x is not None)
    band = None if row.baseline is None else (row.baseline.low * f, row.baseline.high * f)
    lots = tuple(day for day, _ in _lots(week, line))
    most = 100.0 if row.printed.unit.startswith("%") else float("inf")
    return Backdrop(charted_days(week), levels, band, arms(week, line.data.arrangements), tuple(e.day for e in line.logged), lots, most)


def arms(week: WeekData, arrangement_days: Sequence[Row]) -> tuple[Arm, ...]:
    """Return the spells of arrangements over the shown days; every arrangement but the first named is shaded alike in every spell."""
    days = charted_days(week)
    main: dict[date, tuple[float, str]] = {}
    for r in arrangement_days:
        share = r.get("processing_share") or 0.0
        if r["arrangement"] is not None and share >= main.get(r["operating_day"], (-1.0, ""))[0]:
            main[r["operating_day"]] = (share, r["arrangement"])
    found: list[Arm] = []
    order: list[str] = []
    for k, day in enumerate(days):
        if day not in main:
            continue
        name = main[day][1]
        if name not in order:
            order.append(name)
        if found and found[-1].name == name:
            found[-1] = Arm(found[-1].first, k, name, found[-1].is_shaded)
        else:
            found.append(Arm(k, k, name, order.index(name) % 2 == 1))
    return tuple(found)


def _daily(days: list[date], rows: Sequence[Row], printed: Printed) -> list[float | None]:
    by_day = {r["operating_day"]: r[printed.kpi] for r in rows}
    found = [by_day.get(d) for d in days]
    return [None if v is None else v * printed.factor for v in found]


def _points(days: list[date], values: Sequence[float | None], printed: Printed, t: Language) -> tuple[tuple[str, str], ...]:
    return tuple((t.day(d), "-" if v is None else t.numeral(printed.digits(v))) for d, v in zip(days, values, strict=True))


def _lots(week: WeekData, line: LineFacts) -> list[tuple[date, str]]:
    """Return the charted days on which another polymer came into use, with its name."""
    found = [(r["from_utc"].astimezone(week.zone).date(), r["product"]) for r in line.data.lots]
    return [(day, product) for day, product in found if day >= week.first_charted_day]


def notes(week: WeekData, line: LineFacts, t: Language) -> str:
    """Return the words that explain the marks, each text once."""
    by_what: dict[str, list[int]] = {}
    for k, event in enumerate(line.logged, 1):
        by_what.setdefault(event.what, []).append(k)
    told = [
        t("chart.event_note", n=", ".join(map(str, ks)), day=t.joined([t.day(line.logged[k - 1].day) for k in ks]), what=what)
        for what, ks in by_what.items()
    ]
    told += [f"▲ {t.day(day)}: {t('chart.lot', product=product)}." for day, product in _lots(week, line)]
    return " ".join(told)


def _finding(row: KpiRow, mixed: str | None, t: Language) -> str:
    """Return the title that says what the figure shows: "Polymer dose: 27.4 ± 3.1 lb ..., 18 % below baseline"."""
    if not row.is_reported:
        return t("chart.dose", kpi=row.printed.label, finding=row.why)
    unit = "%" if row.printed.unit.startswith("%") else row.printed.unit
    versus = None if mixed or row.baseline is None else change(row.change_pct, t) or t("sentence.versus_same")
    return t("chart.dose", kpi=row.printed.label, finding=", ".join(x for x in (f"{row.value(t)} {unit}", versus) if x))


def _alt(what: str, values: Sequence[float | None], printed: Printed, t: Language) -> str:
    known = [v for v in values if v is not None]
    if not known:
        return t("chart.alt_none", what=what)
    low, high = t.numeral(printed.digits(min(known))), t.numeral(printed.digits(max(known)))
    return t("chart.alt_values", what=what, values=t.count("chart.values", len(known)), low=low, high=high, unit=printed.unit)


def _product(week: WeekData, line: LineFacts, t: Language) -> Chart:
    cake, capture, days = line.row("cake"), line.row("capture"), charted_days(week)
    start = week.start_utc - (week.week_start_day - week.first_charted_day)
    samples = [
        (figures.position(r["from_utc"] + timedelta(hours=r["half_width_h"] or 0.0), start), r["value"] * cake.printed.factor)
        for r in line.data.cake
    ]
    captured = _daily(days, line.data.days, capture.printed)
    return Chart(
        t("chart.product", cake=_finding(cake, line.mixed, t), capture=_finding(capture, line.mixed, t)),
        figures.product(_behind(week, line, cake), samples, _behind(week, line, capture), captured, t),
        f"{_alt(cake.printed.label, [v for _, v in samples], cake.printed, t)} {_alt(capture.printed.label, captured, capture.printed, t)}",
        points=_points(days, captured, capture.printed, t),
    )


def _dose_cake(_week: WeekData, line: LineFacts, t: Language, width_in: float) -> Chart | None:
    dose_row, cake = line.row("dose"), line.row("cake")

    def pairs(days: Sequence[Row]) -> list[tuple[float, float]]:
        both = [(d["dose_active_kg_t"], d["cake_ts_pct"]) for d in days]
        return [(x * dose_row.printed.factor, y * cake.printed.factor) for x, y in both if x is not None and y is not None]

    now, base = pairs(line.in_week), pairs(line.data.baseline)
    finding = t("chart.scatter_found", week=t.count("days", len(now)), base=t.count("days", len(base))) if base else t("chart.scatter_none")
    svg = figures.cloud(
        now, base, (dose_row.printed.unit, t("chart.cake_axis")), (t("chart.week_days"), t("chart.baseline_days")), t, width_in=width_in
    )
    title = t("chart.scatter", finding=finding)
    return Chart(title, svg, _alt(title, [y for _, y in now], cake.printed, t), is_half=True)


def _mixing(_week: WeekData, line: LineFacts, t: Language, width_in: float) -> Chart | None:
    row = line.row("mixing")
    if row.why == t("not_measured"):
        return None
    us = line.data.settings["units"] == "US"
    unit = "gpm" if us else "m3/h"
    first = line.in_week[0]["operating_day"] if line.in_week else None

    def pairs(is_week: bool) -> list[tuple[float, float]]:
        return [
            (units.from_si(h["sludge_flow_m3_h"], unit), h["mixing_dp_kpa"] * row.printed.factor)
            for h in line.data.hours
            if (first is not None and h["operating_day"] >= first) == is_week
        ]

    versus = change(row.change_pct, t) if line.mixed is None else None
    finding = ", ".join(x for x in (f"{row.value(t)} {row.printed.unit}" if row.is_reported else row.why, versus) if x)
    title, pressure = t("chart.mixing", finding=finding), "psi" if us else "kPa"
    svg = figures.cloud(
        pairs(True), pairs(False), (t("chart.flow_axis", unit=unit), t("chart.mixing_axis", unit=pressure)),
        (t("chart.week_hours"), t("chart.baseline_hours")), t,
        at=units.from_si(line.data.settings["reference_flow_m3_h"], unit), from_zero=True, width_in=width_in,
    )  # fmt: skip
    return Chart(title, svg, _alt(title, [y for _, y in pairs(True)], row.printed, t), is_half=True)


def _pump(week: WeekData, line: LineFacts, t: Language, width_in: float) -> Chart | None:
    rows = line.data.pump
    if all(index_of(r) is None for r in rows):
        return None
    this = [r for r in rows if r["week_start_day"] == week.week_start_day]
    values = [index_of(r) for r in rows]
    spread = [half_width(r) for r in rows]
    now = this[0] if this else rows[-1]
    value = index_of(now) if this else None
    if value is None:
        finding = t("chart.pump_none", reason=t.why(now["index_reason"] or t("not_enough")))
    else:
        half = spread[rows.index(now)]
        shown = t.numeral(f"{value:.2f} ± {half:.2f}")
        reference = t.day(now["reference_day"], "tick") if now["reference_day"] else "-"
        finding = t("chart.pump_found" if half <= WIDEST_PUMP else "chart.pump_open", value=shown, reference=reference)
    title = t("chart.pump", finding=finding)
    labels = [t.day(r["week_start_day"], "tick") for r in rows]
    return Chart(title, figures.pump(labels, values, list(spread), t("chart.pump_axis"), t, width_in=width_in), title, is_half=True)


def _strip(week: WeekData, line: LineFacts, t: Language) -> Chart:
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
    told = ", ".join(
        t("chart.state_hours", state=t(f"state.{name}"), hours=t.numeral(one_decimal(hours[name])))
        for name in _TOLD
        if round(hours.get(name, 0.0), 1)
    )
    title = t("chart.strip", told=told or t("chart.no_minutes"))
    return Chart(
        title, figures.strip(days, states, line.data.settings["operating_day_start_h"], t), title, _clock_changes(week, line, days, t)
    )


def _clock_changes(week: WeekData, line: LineFacts, days: list[date], t: Language) -> str:
    """Return the words on operating days of another length than 24 hours."""
    calendar = Calendar(week.zone, wall_time(line.data.settings["operating_day_start_h"]))
    hours = [(calendar.day_end(d) - calendar.day_start(d)).total_seconds() / 3600.0 for d in days]
    return " ".join(t("chart.clock_change", day=t.day(d), hours=f"{h:g}") for d, h in zip(days, hours, strict=True) if h != 24.0)
