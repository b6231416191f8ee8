"""Report: the weekly page of a plant as PDF and HTML, its numbers with their places as JSON, and the indexes; from the published file only."""

from __future__ import annotations

import json
import os
from datetime import date, datetime
from pathlib import Path
from typing import Any

from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.report import fleet, html, language, typeset
from pipelines.report.weekly import events, facts, page, read, targets, trail
from pipelines.report.weekly.rows import WeekData

__all__ = ["run"]


def run(home: Home, plant_id: str, week_start_day: date | None = None, *, as_of: datetime | None = None) -> Path:
    """Write `<reports>/<plant>_<ISO week>.pdf` and `.json`; return the PDF's path. Same data, same bytes.

    Reports the reporting week that holds `week_start_day`; None: the one that had just ended at `as_of`, without that the last whole one,
    and the pages of the weeks before it that were withheld or provisional once more. When the data do not carry the numbers, the PDF says so
    and why. A page that says something else than the one written before gets the next revision and says what changed; the earlier one is
    kept as `..._rev<n>`. DataMissingError, and no file, when nothing of the plant is published or its data do not hold the week to its last day.
    """
    plant_file = loader.of_plant(home, plant_id)
    week = read.week(home, plant_id, week_start_day, as_of)
    pdf = _write(home, plant_file, week)
    if week_start_day is None:
        for day in _unfinished(home, week):
            _write(home, plant_file, read.week(home, plant_id, day))
    return pdf


def _unfinished(home: Home, week: WeekData) -> list[date]:
    """Return the first days of the shown weeks before this one whose page could still change."""
    found = []
    for day in facts.shown_weeks(week)[:-1]:
        path = home.reports(week.plant) / f"{week.plant}_{read.iso_week(day)}.json"
        if path.is_file():
            kept = json.loads(path.read_bytes())
            if kept.get("withheld") or any(line.get("withheld") or line.get("provisional") for line in kept["lines"]):
                found.append(day)
    return found


def _write(home: Home, plant_file: PlantFile, week: WeekData) -> Path:
    """Write the page of one week, its twin and its trail, and the indexes anew."""
    t = language.of(plant_file.plant.language)
    lines = tuple(
        facts.of_line(
            week,
            data,
            targets.limits(plant_file, data.line),
            t,
            events.of_line(week, data.line, plant_file),
            targets.unmeasured(plant_file, data.line),
        )
        for data in week.lines
    )
    folder = home.reports(week.plant)
    folder.mkdir(parents=True, exist_ok=True)
    pdf = folder / f"{week.plant}_{week.iso_week}.pdf"
    found = trail.of_week(week, lines, page.content(week, lines, plant_file, t, 0, []), t)
    revision, changed = _revision(pdf, found, t)
    content = page.content(week, lines, plant_file, t, revision, changed)
    stamped = {**found, "revision": revision, "changed": changed, "fingerprint": trail.fingerprint(found)}
    made = typeset.pdf("weekly/weekly.typ", content, week.known_utc)
    put(pdf.with_suffix(".json"), json.dumps(stamped, indent=1, ensure_ascii=False).encode())
    put(pdf.with_suffix(".html"), html.week(content, stamped, pdf.name, t).encode())
    put(pdf, made)
    put(folder / "index.html", fleet.index(folder, week.name, t).encode())
    put(folder.parent / "index.html", fleet.all_plants(folder.parent, language.of(language.DEFAULT)).encode())
    return pdf


def _revision(pdf: Path, found: dict[str, Any], t: language.Language) -> tuple[int, list[str]]:
    """Return the number of this page's revision and what it changed; keep the files of the page before under its revision."""
    kept = pdf.with_suffix(".json")
    if not kept.is_file() or not pdf.is_file():
        return 0, []
    before = json.loads(kept.read_bytes())
    if before.get("fingerprint") == trail.fingerprint(found):
        return before["revision"], before["changed"]
    number = before.get("revision", 0)
    for path in (kept, pdf, pdf.with_suffix(".html")):
        if not path.is_file():
            continue
        put(path.with_name(f"{path.stem}_rev{number}{path.suffix}"), path.read_bytes())
    return number + 1, trail.changes(before, found, t) if "fingerprint" in before else []


def put(path: Path, content: bytes) -> None:
    """Write a file beside its place and move it in, so that a reader never sees half of it."""
    partial = path.with_name(f".{path.name}.{os.getpid()}.next")
    partial.write_bytes(content)
    partial.replace(path)
