"""What runs leave below `<home>/runs/`: here the tracebacks of unexpected errors."""

from __future__ import annotations

import os
import traceback
from itertools import count
from pathlib import Path

from pipelines import __version__, clock
from pipelines.home import Home


def keep_traceback(home: Home, error: Exception, plant: str = "") -> Path:
    """Write a traceback into a file of its own, named after time, plant and process; OSError when it cannot be written."""
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
