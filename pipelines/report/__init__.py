"""Report: the weekly page of a plant as PDF, and its numbers with their places as JSON, from the published file only."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date, datetime
from pathlib import Path

from pipelines import __version__
from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.report import typeset
from pipelines.report.weekly import events, facts, page, read, targets

__all__ = ["run"]


def run(home: Home, plant_id: str, week_start_day: date | None = None, *, as_of: datetime | None = None) -> Path:
    """Write `<reports>/<plant>_<ISO week>.pdf` and `.json`; return the PDF's path. Same data, same bytes.

    Reports the reporting week that holds `week_start_day`; None: the one that had just ended at `as_of`, without
    that the last whole one. When the data do not carry the numbers, the PDF is one page that says so and why. DataMissingError, and no
    file, when nothing of the plant is published or its data do not hold the week to its last day.
    """
    plant_file = loader.of_plant(home, plant_id)
    week = read.week(home, plant_id, week_start_day, as_of)
    lines = tuple(
        facts.of_line(
            week,
            data,
            targets.limits(plant_file, data.line),
            events.of_line(week, data.line, plant_file),
            targets.unmeasured(plant_file, data.line),
        )
        for data in week.lines
    )
    content = page.content(week, lines, plant_file)
    folder = home.reports(plant_id)
    folder.mkdir(parents=True, exist_ok=True)
    pdf = folder / f"{plant_id}_{week.iso_week}.pdf"
    _put(pdf.with_suffix(".json"), json.dumps(_trail(week, lines, content), indent=1, ensure_ascii=False).encode())
    _put(pdf, typeset.pdf("weekly/weekly.typ", content, week.known_utc))
    return pdf


def _trail(week: read.WeekData, lines: tuple[facts.LineFacts, ...], content: dict[str, object]) -> dict[str, object]:
    """Return what a reader needs to trace every printed number: text, stored value, table, column, key."""
    return {
        "plant": week.plant, "iso_week": week.iso_week, "week_start_day": str(week.week_start_day), "flocledger": __version__,
        "known_utc": week.known_utc.isoformat(), "plant_file_id": week.plant_file_id, "withheld": content["withheld"],
        "rows_set_aside": week.rows_set_aside,
        "lines": [
            {
                "line": line.data.line, "withheld": line.withheld, "sentences": list(line.sentences), "data": line.data_line,
                "numbers": [asdict(n) for n in line.numbers],
                "flags": [f["flag_id"] for f in line.data.flags], "open_items": [f["flag_id"] for f in line.open_items],
            }
            for line in lines
        ],
    }  # fmt: skip


def _put(path: Path, content: bytes) -> None:
    """Write a file beside its place and move it in, so that a reader never sees half of it."""
    partial = path.with_name(f".{path.name}.next")
    partial.write_bytes(content)
    partial.replace(path)
