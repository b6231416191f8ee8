"""The appendix of a weekly page: what each number rests on, what is missing, what was set aside, what changed, versions. Pure."""

from __future__ import annotations

from typing import Any

from pipelines import __version__
from pipelines.plant.model import PlantFile
from pipelines.report.language import Language
from pipelines.report.weekly import work
from pipelines.report.weekly.facts import LineFacts, floor_pct
from pipelines.report.weekly.rows import WeekData


def content(
    week: WeekData, lines: tuple[LineFacts, ...], plant_file: PlantFile, t: Language, revision: int, changed: list[str]
) -> dict[str, Any]:
    """Return titles and texts, and the table of signals with gaps."""
    several = len(lines) > 1
    us = plant_file.plant.units == "US"
    texts = [
        (t("appendix.basis"), [*_basis(lines, several, t), t("appendix.ton_us" if us else "appendix.ton_si"), t("appendix.condition"), t("appendix.doubt_rule")]),
        *([(t("appendix.untested"), untested)] if (untested := _untested(lines, several, t)) else []),
        (t("appendix.set_aside"), [f"{t.word('reason', r['reason'])}: {t.numeral(format(r['n'], ','))}" for r in week.set_aside] or [t("appendix.no_set_aside")]),
        (t("appendix.exclusions"), _exclusions(lines, several, t) or [t("appendix.no_exclusions")]),
        (t("appendix.changes"), _changes(week, lines, several, t) or [t("appendix.no_changes")]),
        (t("appendix.versions"), [_versions(week, lines, t)]),
    ]  # fmt: skip
    if revision and changed:
        texts.insert(0, (t("appendix.revision", before=revision - 1), changed))
    return {
        "heading": t("appendix_title"),
        "texts": [{"title": title, "items": items} for title, items in texts],
        "quality_title": t("appendix.quality"),
        "quality_head": [t("appendix.signal"), t("appendix.covered"), t("appendix.missed"), t("appendix.gap")],
        "quality": [row for line in lines for row in _quality(line, several, t)],
        "whole": t("appendix.whole"),
    }


def _of(line: LineFacts, several: bool, text: str) -> str:
    return f"{line.data.name}, {text}" if several else text


def _basis(lines: tuple[LineFacts, ...], several: bool, t: Language) -> list[str]:
    found = []
    for line in lines:
        for row in line.rows:
            text = row.basis if row.is_reported else row.why or ""
            found.append(_of(line, several, t("appendix.kpi_line", kpi=f"{row.printed.label} ({row.printed.unit})", basis=text)))
    return found


def _untested(lines: tuple[LineFacts, ...], several: bool, t: Language) -> list[str]:
    """Return the meters that no witness could test in the week; their errors show in no number."""
    return [_of(line, several, t.word("role", role)) for line in lines for role in line.untested]


def _exclusions(lines: tuple[LineFacts, ...], several: bool, t: Language) -> list[str]:
    return [
        _of(
            line,
            several,
            t("appendix.exclusion", day=t.day(d["operating_day"]), reason=t.why(d["dose_reason"] or t("sentence.reason_unknown"))),
        )
        for line in lines
        for d in line.in_week
        if d["dose_active_kg_t"] is None and work.may_be_worked(d)
    ]


def _changes(week: WeekData, lines: tuple[LineFacts, ...], several: bool, t: Language) -> list[str]:
    last = week.last_reported_day
    logged = [
        _of(line, several, f"{t.day(e.day)}: {e.what}") for line in lines for e in line.logged if week.week_start_day <= e.day <= last
    ]
    files = [
        t("appendix.plant_file", at=t.moment(p["first_used_utc"].astimezone(week.zone)), id=p["plant_file_id"]) for p in week.plant_files
    ]
    return [*logged, *files]


def _versions(week: WeekData, lines: tuple[LineFacts, ...], t: Language) -> str:
    data = ", ".join(sorted({line.data.this["data_version"] for line in lines if line.data.this})) or "-"
    return t("appendix.versions_text", version=__version__, plant_file=week.plant_file_id, data=data)


def _quality(line: LineFacts, several: bool, t: Language) -> list[list[str]]:
    """Return the signals of a line that are not known for the whole week; those with the same gaps share a row."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    for q in line.data.quality:
        if q["covered_share"] is None or floor_pct(q["covered_share"]) >= 100:
            continue
        missed, of, gap = (t.numeral(format(q[c], ",")) for c in ("missing_processing_minutes", "processing_minutes", "longest_gap_min"))
        cells = (f"{floor_pct(q['covered_share'])} %", t("appendix.minutes_of", missed=missed, all=of), f"{gap} min")
        alike.setdefault(cells, []).append(t.word("role", q["role"]))
    return [[_of(line, several, t.joined(roles)), *cells] for cells, roles in alike.items()]
