"""The weekly page put together: facts and figures to what the template prints."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from pipelines.plant.model import PlantFile
from pipelines.report.language import Language, sentence
from pipelines.report.weekly import appendix, charts, figures, judge, money, sentences
from pipelines.report.weekly.facts import KpiRow, LineFacts
from pipelines.report.weekly.items import lasted, title
from pipelines.report.weekly.queries import Row
from pipelines.report.weekly.rows import WeekData

MOST_OPEN_ITEMS = 3
MOST_FLAGS = 24  # a line; more are counted
CHARTS_ON_PAGE_1 = 2  # with more lines than that the dose figures stand on the lines' own pages
DOSE_IN, SMALL_DOSE_IN = 2.5, 1.45  # height of the dose figure on page 1 [inch]


def content(
    week: WeekData, lines: tuple[LineFacts, ...], plant_file: PlantFile, t: Language, revision: int, changed: list[str]
) -> dict[str, Any]:
    """Return everything the template prints; `withheld` is the reason when no line can be reported, `changed` what the revision changed."""
    plant = plant_file.plant
    reported = [line for line in lines if line.withheld is None]
    reasons = {line.withheld or "" for line in lines}
    withheld = None if reported else (reasons.pop() if len(reasons) == 1 else t("no_line"))
    known = f"{week.known_utc.astimezone(week.zone):%Y-%m-%d %H:%M}"
    first_page_charts = reported if len(lines) <= CHARTS_ON_PAGE_1 else []
    return {
        **_frame(week, plant_file, t, revision, known),
        "meta": _meta(week, plant.invented, t, revision, known),
        "standing": standing(reported, t) if reported else "",
        "withheld": None if withheld is None else t("withheld_all", reason=withheld),
        "reasons": [sentence(f"{line.data.name}: {line.withheld}") for line in lines if line.withheld],
        "remedies": [t("remedy_files"), t("remedy_rows")],
        "sentences": sentences.three(lines, t) if reported else [],
        "groups": [_group(line, line is lines[0], len(lines) > 1, t) for line in lines],
        "charts": [_first_chart(week, line, len(lines) > 1, t) for line in first_page_charts],
        "money": None if withheld else money.line(week.comparisons, week.running, week.last_reported_day, plant.units, t),
        **_items(lines, len(lines) > 1, t),
        "data_line": sentences.data_line(week, lines, t) if reported else "",
        "legend": f"{t('legend_page1', baseline=_baseline_words(reported, t))} {t('advisory')}",
        "pages": [_page(week, line, line not in first_page_charts, t) for line in reported],
        "appendix": appendix.content(week, lines, plant_file, t, revision, changed),
        "cautions": list(t.cautions),
    }


WORDS = (
    "this_week", "trend", "against_baseline", "against_target", "open_items", "money", "data", "withheld_title", "withheld_why", "missing_title",
    "remedy_title", "no_items", "flags_title", "no_flags", "flags.cause", "flags.when", "flags.lasted", "flags.severity", "flags.seen", "flags.look",
    "flags.disposition", "cautions",
)  # fmt: skip


def _frame(week: WeekData, plant_file: PlantFile, t: Language, revision: int, known: str) -> dict[str, Any]:
    plant = plant_file.plant
    return {
        "title": t("title", plant=week.name, iso_week=week.iso_week),
        "description": t("description", plant=week.name, known=known),
        "language": t.code,
        "region": t("region_us") if plant.units == "US" else t("region_other"),
        "paper": plant.paper_size,
        "footer": t("footer", plant=week.plant, iso_week=week.iso_week, revision=revision),
        "page_word": t("page"),
        "of_word": t("of"),
        "heading": week.name,
        "subheading": t("week_title", iso_week=week.iso_week),
        "words": {key: t(key) for key in WORDS},
    }


def _meta(week: WeekData, invented: bool, t: Language, revision: int, known: str) -> str:
    first, last = week.week_start_day, week.last_reported_day
    parts = [
        t("span", first=t.day(first), last=t.day(last, "year")),
        t("report_no", number=f"{week.plant}-{week.iso_week}", revision=revision),
        t("known_at", known=known, zone=week.zone.key),
        *([t("invented")] if invented else []),
    ]
    return "; ".join(parts)


def standing(reported: list[LineFacts], t: Language) -> str:
    """Return how final the page is: the least final of its lines."""
    by = [(line, line.standing) for line in reported if line.standing is not None]
    open_ = [(line, s) for line, s in by if s.is_provisional]
    line, found = open_[0] if open_ else by[0]
    return found.words(bool(line.items), t)


def _baseline_words(reported: list[LineFacts], t: Language) -> str:
    days = next((line.data.baseline for line in reported if line.data.baseline), ())
    if not days:
        return t("no_baseline")
    first, last = days[0]["operating_day"], days[-1]["operating_day"]
    return t("baseline_is", days=t.count("days", sum(1 for d in days if d["processing_minutes"])), first=t.day(first), last=t.day(last))


def _group(line: LineFacts, with_units: bool, several: bool, t: Language) -> dict[str, Any]:
    return {
        "name": line.data.name if several else None,
        "withheld": None if line.withheld is None else t("withheld_line", line=line.data.name, reason=line.withheld),
        "rows": [_row(r, line.mixed, with_units, t) for r in line.rows if is_on_page_1(r, t)],
    }


def is_on_page_1(row: KpiRow, t: Language) -> bool:
    """Return whether a row takes its place in the table: it has a number, or one is missing that could be there."""
    return row.is_reported or row.why not in (t("not_measured"), t("not_priced"))


def _row(row: KpiRow, mixed: str | None, with_units: bool, t: Language) -> dict[str, Any]:
    f = row.printed.factor
    band = None if row.baseline is None else (row.baseline.low * f, row.baseline.high * f)
    shown = [None if v is None else v * f for v in row.trend]
    texts = ["-" if v is None else t.numeral(row.printed.digits(v)) for v in shown]
    return {
        "label": row.printed.label, "kpi": row.printed.kpi, "unit": row.printed.unit if with_units else "", "value": row.bounded(t),
        "trend": figures.trend(shown, band), "trend_alt": t("chart.alt_trend", what=row.printed.label, values="; ".join(texts)),
        "baseline": _versus_baseline(row, mixed, t), "target": _versus_target(row, t),
    }  # fmt: skip


def _versus_baseline(row: KpiRow, mixed: str | None, t: Language) -> str:
    if not row.is_reported:
        return row.why or ""
    if row.name == "solids":
        return ""
    if row.doubts:
        return t("versus.withheld")
    if mixed is not None:
        return t("versus.mixed")
    if row.baseline is None:
        return t("versus.none")
    return sentences.change(row.change_pct, t) or t("versus.same")


def _versus_target(row: KpiRow, t: Language) -> str:
    if row.verdict is None:
        return judge.target_text(row.printed, row.limits, t)
    return t(f"target.{row.verdict}", target=judge.target_text(row.printed, row.limits, t))


def _items(lines: Sequence[LineFacts], several: bool, t: Language) -> dict[str, Any]:
    found = sorted(((line, i) for line in lines for i in line.items), key=lambda x: x[1].by)
    more = len(found) - MOST_OPEN_ITEMS
    return {
        "items": [i.words(t, line.data.name if several else None) for line, i in found[:MOST_OPEN_ITEMS]],
        "more_items": t("more_items", n=more) if more > 0 else None,
    }


def _first_chart(week: WeekData, line: LineFacts, several: bool, t: Language) -> dict[str, Any]:
    made = charts.dose(week, line, t, name=line.data.name if several else None, height_in=SMALL_DOSE_IN if several else DOSE_IN)
    return {**made.content(), "note": ""}  # events are told on the page of figures


def _page(week: WeekData, line: LineFacts, with_dose: bool, t: Language) -> dict[str, Any]:
    flags = sorted(line.data.flags, key=lambda f: (f.get("cause_id") or f["flag_id"], f["start_utc"]))
    found = [*([charts.dose(week, line, t)] if with_dose else []), *charts.rest(week, line, t)]
    return {
        "heading": t("lines_of", line=line.data.name),
        "charts": [c.content() for c in found],
        "note": charts.notes(week, line, t),
        "flags": [flag_row(week, f, t) for f in flags[:MOST_FLAGS]],
        "more_flags": t("more_flags", n=len(flags) - MOST_FLAGS) if len(flags) > MOST_FLAGS else None,
    }


def flag_row(week: WeekData, flag: Row, t: Language) -> dict[str, str]:
    """Return a flag as the table prints it; a language other than the flags' own names cause and signal in its own words."""
    own = t.code == "en"
    return {
        "cause": t.word("detector", flag["detector"]),
        "when": moment(week, flag["start_utc"], t),
        "lasted": lasted(flag["minutes"], t),
        "severity": t.word("severity", flag["severity"]),
        "seen": sentence(flag["sentence"] if own else title(week, flag, t)),
        "look": sentence(flag["suggestion"] if own else t.word("look", flag["detector"])),
        "disposition": t.word("disposition", flag["disposition"] or "open"),
    }


def moment(week: WeekData, at: datetime, t: Language) -> str:
    """Return an instant in plant time."""
    return t.moment(at.astimezone(week.zone))
