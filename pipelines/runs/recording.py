"""The frame of a run: its clock, its summary, and a record of it below `<home>/runs/`, also when it failed."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime

from pipelines.base import clock
from pipelines.base.errors import ExitCode, Notice, exit_code_of
from pipelines.base.home import Home
from pipelines.base.receipts import Receipt, StepReceipt
from pipelines.runs import log, records
from pipelines.runs.summary import Summary
from pipelines.store import faults


@dataclass(frozen=True)
class Run:
    """A run that has begun; `as_of` is its now, in UTC."""

    home: Home
    plant: str
    kind: str
    as_of: datetime
    started: float = field(default_factory=clock.stopwatch)
    id: str = field(default_factory=lambda: uuid.uuid4().hex[:12])  # of its lines in the log, and in its record

    def finished(
        self,
        receipts: Sequence[Receipt] = (),
        steps: Sequence[StepReceipt] = (),
        notices: Sequence[Notice] = (),
        outputs: Sequence[str] = (),
    ) -> Summary:
        """Return the run's summary and write its record; a record that cannot be written is a notice of its own."""
        seconds = clock.stopwatch() - self.started
        summary = Summary(
            self.plant, self.kind, self.as_of, receipts=list(receipts), steps=list(steps), notices=list(notices), outputs=list(outputs),
            seconds=seconds, run_id=self.id,
        )  # fmt: skip
        try:
            records.keep(self.home, self.plant, self.kind, self.as_of, summary.as_json())
        except OSError as error:
            summary.notices.append(
                Notice(
                    "run.record_not_written",
                    f"the run did its work, but its record could not be written to {self.home.runs(self.plant)}: {error.strerror or error}",
                    {"folder": str(self.home.runs(self.plant))},
                )
            )
        log.write(self.home, self.id, self.plant, self.kind, log.events_of(summary))
        return summary


@contextmanager
def recorded(home: Home, plant: str, kind: str, as_of: datetime | None) -> Iterator[Run]:
    """Give a run; when it fails, write a record of what stopped it and its exit code. An unknown plant gets none.

    Faults of the system (no space, no permission, a damaged file) leave as errors that name path, cause and remedy.
    """
    run = Run(home, plant, kind, clock.in_utc(as_of))
    is_known = home.plant_file(plant).is_file()
    if is_known:
        log.write(home, run.id, plant, kind, [{"event": "started", "as_of": run.as_of.isoformat()}])
    try:
        yield run
    except Exception as error:
        explained = faults.explained(error, plant)
        _record_failure(run, explained)
        if explained is error:
            raise
        raise explained from error


def _record_failure(run: Run, error: Exception) -> None:
    code = exit_code_of(error)
    told = str(error) if code != ExitCode.INTERNAL or isinstance(error, faults.SystemFaultError) else f"{type(error).__name__}: {error}"
    failed = {**json.loads(Summary(run.plant, run.kind, run.as_of, run_id=run.id).as_json()), "error": told, "exit_code": int(code)}
    if run.home.plant_file(run.plant).is_file():
        log.write(run.home, run.id, run.plant, run.kind, [{"event": "failed", "exit_code": int(code), "error": told}])
        with suppress(OSError):  # what stopped the run is worth more than its record
            records.keep(run.home, run.plant, run.kind, run.as_of, json.dumps(failed, indent=1))
