"""Records of runs and tracebacks of unexpected errors, below `<home>/runs/`."""

from __future__ import annotations

import json
import os
import traceback
from datetime import datetime
from itertools import count
from pathlib import Path
from typing import Any

from pipelines import __version__
from pipelines.base import clock
from pipelines.base.home import Home


def keep(home: Home, plant: str, run: str, as_of: datetime, text: str) -> Path:
    """Write the record of a run (JSON) below `<home>/runs/<plant>/` atomically."""
    folder = home.runs(plant)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{as_of:%Y%m%dT%H%M%SZ}-{run}.json"
    partial = folder / f".{path.name}.partial"
    with partial.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    partial.replace(path)
    return path


def read(folder: Path) -> tuple[list[dict[str, Any]], list[str]]:
    """Return the records of a plant by as-of time (their names begin with it), and the names of unreadable ones."""
    found, broken = [], []
    for path in sorted(folder.glob("*.json")):
        try:
            record = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            record = None
        if isinstance(record, dict) and isinstance(record.get("steps"), list):
            found.append(record)
        else:
            broken.append(path.name)
    return found, broken


def keep_traceback(home: Home, error: Exception, plant: str = "") -> Path:
    """Write a traceback to a file named after time, plant and process; OSError when it cannot be written."""
    folder = home.root / "runs"
    folder.mkdir(parents=True, exist_ok=True)
    stem = "-".join(filter(None, [f"error-{clock.now_utc():%Y%m%dT%H%M%SZ}", plant, str(os.getpid())]))
    for number in count(1):
        path = folder / (f"{stem}.txt" if number == 1 else f"{stem}-{number}.txt")
        try:
            with path.open("x", encoding="utf-8") as file:
                file.write(f"flocledger {__version__}\n{''.join(traceback.format_exception(error))}")
        except FileExistsError:
            continue
        break
    return path
