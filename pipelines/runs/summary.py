"""The summary of a run: receipts, steps, notices, outputs and the exit code that follows from them."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from datetime import datetime

from pipelines import __version__
from pipelines.base.errors import ExitCode, Notice
from pipelines.base.receipts import Receipt, StepReceipt

NO_DATA = "lines.no_data"  # name of the notice on lines without data of the last day


@dataclass(frozen=True)
class Summary:
    """What a run did, short enough to read and complete enough to store as JSON."""

    plant: str
    run: str
    as_of: datetime
    version: str = __version__
    receipts: list[Receipt] = field(default_factory=list)
    steps: list[StepReceipt] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    outputs: list[str] = field(default_factory=list)
    seconds: float = 0.0
    run_id: str = ""  # of its lines in the log

    @property
    def no_data(self) -> str | None:
        """Return the sentence on lines without data of the last day; None when data come as they should."""
        return next((notice.sentence for notice in self.notices if notice.name == NO_DATA), None)

    @property
    def exit_code(self) -> ExitCode:
        """Return WARNINGS when anything was set aside or noticed, else OK."""
        troubled = any(r.status == "set aside" or r.rows_set_aside or r.values_set_aside for r in self.receipts)
        return ExitCode.WARNINGS if troubled or self.notices else ExitCode.OK

    def as_json(self) -> str:
        return json.dumps({**asdict(self), "exit_code": int(self.exit_code)}, default=str, indent=1)
