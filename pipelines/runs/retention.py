"""What `clean-up` may delete: records of runs, tracebacks, full logs and damaged stores that are old; never originals.

The archive is kept whole: `rebuild` and `trace` need every original.
"""

from __future__ import annotations

import re
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path

from pipelines.base.home import Home

KEPT = 10  # newest records a plant and kind of run that stay whatever their age: `status` reads them
_STAMP = re.compile(r"\d{8}T\d{6}Z")


def outdated(home: Home, before: datetime) -> list[Path]:
    """Return the files of a home that may be deleted, from before a time by the stamp in their names; sorted."""
    found = [path for plant in home.plants() for path in _old_records(home.runs(plant), before)]
    for pattern in ("runs/error-*.txt", "runs/log-*.jsonl", "store/*.damaged-*"):
        found += [path for path in home.root.glob(pattern) if _is_older(path, before)]
    return sorted(found)


def _old_records(folder: Path, before: datetime) -> list[Path]:
    by_kind: dict[str, list[Path]] = defaultdict(list)
    for path in sorted(folder.glob("*.json")):
        by_kind[path.stem.partition("-")[2]].append(path)
    return [path for paths in by_kind.values() for path in paths[:-KEPT] if _is_older(path, before)]


def _is_older(path: Path, before: datetime) -> bool:
    stamp = _STAMP.search(path.name)
    return stamp is not None and datetime.strptime(stamp[0], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC) < before
