"""Pump condition review of a plant: one page a pump with what can be said of its wear and what it went through, as PDF and JSON, from the published file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.report import fleet, language, put, typeset
from pipelines.report.review import page, read

__all__ = ["run"]


def run(home: Home, plant_id: str) -> Path:
    """Write `<reports>/<plant>_pump-condition.pdf` and `.json`, and the plant's index anew; return the PDF's path. Same data, same bytes.

    DataMissingError, and no file, when nothing of the plant's pumps is published.
    """
    plant_file = loader.of_plant(home, plant_id)
    found = read.review(home, plant_file)
    t = language.of(plant_file.plant.language)
    content = page.content(found, plant_file, t)
    folder = home.reports(plant_id)
    folder.mkdir(parents=True, exist_ok=True)
    pdf = folder / f"{plant_id}_pump-condition.pdf"
    put(pdf.with_suffix(".json"), json.dumps(_trail(found, content), indent=1, ensure_ascii=False, default=str).encode())
    put(pdf, typeset.pdf("review/review.typ", content, found.known_utc))
    put(folder / "index.html", fleet.index(folder, found.name, t).encode())
    return pdf


def _trail(found: read.Review, content: dict[str, Any]) -> dict[str, Any]:
    """Return what the page says with the rows behind it."""
    return {
        "plant": found.plant, "known_utc": found.known_utc, "plant_file_id": found.plant_file_id,
        "pumps": [
            {"pump": pump.pump, "line": pump.line, "said": said["statement"], "wear": pump.wear, "facts": said["facts"], "events": said["events"]}
            for pump, said in zip(found.pumps, content["pumps"], strict=True)
        ],
    }  # fmt: skip
