"""The log of a home: one JSON object a line in `<home>/runs/log.jsonl`, for collectors of logs; each line names its run.

A line that cannot be written is lost: the run's record says the same, and no log stops a run.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from typing import Any

from pipelines.base import clock
from pipelines.base.home import Home
from pipelines.runs.summary import Summary

NAME = "log.jsonl"
MOST_BYTES = 20_000_000  # a fuller log is put aside as log-<time>.jsonl, for `clean-up` to delete
FLOW_RUN = "PREFECT__FLOW_RUN_ID"  # set by Prefect in the process of a flow run


def write(home: Home, run_id: str, plant: str, kind: str, events: Iterable[dict[str, Any]]) -> None:
    """Append the events of a run, each with time, run, plant and kind of run; those of one call stand together."""
    frame = {"at": clock.now_utc().isoformat(), "run_id": run_id, "plant": plant, "run": kind}
    if flow_run := os.environ.get(FLOW_RUN):
        frame["flow_run_id"] = flow_run
    text = "".join(json.dumps(frame | event, default=str, ensure_ascii=False) + "\n" for event in events)
    path = home.root / "runs" / NAME
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and path.stat().st_size > MOST_BYTES:
            path.replace(path.with_name(f"log-{clock.now_utc():%Y%m%dT%H%M%SZ}.jsonl"))
        with path.open("ab", buffering=0) as file:
            file.write(text.encode())


def events_of(summary: Summary) -> Iterator[dict[str, Any]]:
    """Return the events of a run that ended: files, steps and notices, then its end with exit code and seconds."""
    for r in summary.receipts:
        counts = {"rows_read": r.rows_read, "rows_kept": r.rows_kept, "rows_set_aside": r.rows_set_aside}
        yield {"event": "file", "file": r.file_name, "status": r.status, "reason": r.reason, **counts}
    for s in summary.steps:
        yield {"event": "step", "step": s.step, "days": s.days, "seconds": round(s.seconds, 3)}
    for n in summary.notices:
        yield {"event": "notice", "name": n.name, "sentence": n.sentence}
    yield {"event": "finished", "exit_code": int(summary.exit_code), "seconds": round(summary.seconds, 3)}
