"""Savings statement of a plan: two to four pages as PDF and its numbers as JSON, from the published file only."""

from __future__ import annotations

import json
from pathlib import Path

from pipelines.base.home import Home
from pipelines.report import typeset
from pipelines.report.statement import page, read

__all__ = ["run"]


def run(home: Home, plant_id: str, plan: str, plan_hash: str) -> Path:
    """Write `<reports>/<plant>_<plan>.pdf` and `.json`; return the PDF's path. Same data, same bytes. DataMissingError without results."""
    found = read.statement(home, plant_id, plan, plan_hash)
    content = page.content(found)
    folder = home.reports(plant_id)
    folder.mkdir(parents=True, exist_ok=True)
    pdf = folder / f"{plant_id}_{plan}.pdf"
    trail = {"plan": plan, "plan_hash": plan_hash, "outcomes": [{k: str(v) for k, v in row.items()} for row in found.outcomes]}
    _put(pdf.with_suffix(".json"), json.dumps(trail, indent=1, ensure_ascii=False).encode())
    _put(pdf, typeset.pdf("statement/statement.typ", content, found.plan["as_of_utc"]))
    return pdf


def _put(path: Path, content: bytes) -> None:
    partial = path.with_name(f".{path.name}.next")
    partial.write_bytes(content)
    partial.replace(path)
