"""Report: the weekly page of a plant as PDF, and its numbers with their places as JSON, from the published file only."""

from __future__ import annotations

import json
from datetime import date, datetime
from pathlib import Path
from typing import Any

from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.report import language, typeset
from pipelines.report.weekly import events, facts, page, read, targets, trail

__all__ = ["run"]


def run(home: Home, plant_id: str, week_start_day: date | None = None, *, as_of: datetime | None = None) -> Path:
    """Write `<reports>/<plant>_<ISO week>.pdf` and `.json`; return the PDF's path. Same data, same bytes.

    Reports the reporting week that holds `week_start_day`; None: the one that had just ended at `as_of`, without
    that the last whole one. When the data do not carry the numbers, the PDF says so and why. A page that says something else than the one
    written before gets the next revision and says what changed; the earlier one is kept as `..._rev<n>`. DataMissingError, and no
    file, when nothing of the plant is published or its data do not hold the week to its last day.
    """
    plant_file = loader.of_plant(home, plant_id)
    t = language.of(plant_file.plant.language)
    week = read.week(home, plant_id, week_start_day, as_of)
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
    folder = home.reports(plant_id)
    folder.mkdir(parents=True, exist_ok=True)
    pdf = folder / f"{plant_id}_{week.iso_week}.pdf"
    found = trail.of_week(week, lines, page.content(week, lines, plant_file, t, 0, []), t)
    revision, changed = _revision(pdf, found, t)
    content = page.content(week, lines, plant_file, t, revision, changed)
    stamped = {**found, "revision": revision, "changed": changed, "fingerprint": trail.fingerprint(found)}
    made = typeset.pdf("weekly/weekly.typ", content, week.known_utc)
    put(pdf.with_suffix(".json"), json.dumps(stamped, indent=1, ensure_ascii=False).encode())
    put(pdf, made)
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
    for path in (kept, pdf):
        put(path.with_name(f"{path.stem}_rev{number}{path.suffix}"), path.read_bytes())
    return number + 1, trail.changes(before, found, t) if "fingerprint" in before else []


def put(path: Path, content: bytes) -> None:
    """Write a file beside its place and move it in, so that a reader never sees half of it."""
    partial = path.with_name(f".{path.name}.next")
    partial.write_bytes(content)
    partial.replace(path)
