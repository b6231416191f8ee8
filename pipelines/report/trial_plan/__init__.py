"""The plan of a trial as a page: what is compared, the order to run, the days needed, what counts."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipelines import __version__
from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.report import language, typeset

__all__ = ["run"]


def run(home: Home, plant_id: str, plan: str, told: dict[str, Any], as_of: datetime) -> Path:
    """Write `<reports>/<plant>_<plan>_plan.pdf` from what the plan tells; return its path. Same plan, same bytes."""
    plant = loader.of_plant(home, plant_id).plant
    us = plant.units == "US"
    content = told | {
        "title": f"{plant.name}: plan of trial {plan}", "description": told["question"], "heading": f"{plant.name}: plan of a trial", "language": "en",
        "region": "US" if us else "GB", "paper": "us-letter" if us else "a4", "page_word": "page", "of_word": "of", "invented": plant.invented,
        "footer": f"{plant_id} {plan}, {told['plan_line']} flocledger {__version__}", "cautions": list(language.of("en").cautions),
    }  # fmt: skip
    folder = home.reports(plant_id)
    folder.mkdir(parents=True, exist_ok=True)
    pdf = folder / f"{plant_id}_{plan}_plan.pdf"
    partial = pdf.with_name(f".{pdf.name}.next")
    partial.write_bytes(typeset.pdf("trial_plan/trial_plan.typ", content, as_of.astimezone(UTC)))
    partial.replace(pdf)
    return pdf
