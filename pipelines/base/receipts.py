"""Receipts: the balanced row counts of a file, and what a derived step wrote."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime


@dataclass(frozen=True)
class Receipt:
    """The receipt of one file; rows and values balance, otherwise InternalError is raised."""

    load_id: str
    file_name: str
    status: str  # "taken", "set aside", "known already"
    reason: str | None = None
    detail: str | None = None
    layout: str | None = None
    reader: str | None = None
    rows_read: int = 0
    rows_kept: int = 0
    rows_duplicate: int = 0
    rows_dropped: int = 0
    rows_set_aside: int = 0
    values_read: int = 0
    values_kept: int = 0
    values_duplicate: int = 0
    values_set_aside: int = 0
    values_untied: int = 0  # values of tags without a signal in the plant file
    values_superseded: int = 0  # of the values kept: another version of their tag and time stands, these are history
    first_utc: datetime | None = None
    last_utc: datetime | None = None
    reasons: dict[str, int] = field(default_factory=dict)  # set-aside rows by primary reason
    seconds: float = 0.0
    rows_exact: int = 0  # of the rows read, those that needed the exact reader
    exact_seconds: float = 0.0  # what the exact reader took of `seconds`

    @property
    def balances(self) -> bool:
        return (
            self.rows_read == self.rows_kept + self.rows_duplicate + self.rows_dropped + self.rows_set_aside
            and self.values_read == self.values_kept + self.values_duplicate + self.values_set_aside + self.values_untied
        )


@dataclass(frozen=True)
class StepReceipt:
    """The receipt of a derived step: the operating days it touched and the rows it wrote, by table."""

    step: str
    days: int = 0
    rows: dict[str, int] = field(default_factory=dict)
    seconds: float = 0.0


def added_up(steps: Iterable[StepReceipt]) -> list[StepReceipt]:
    """Return one receipt a step, in order of first appearance, with days, rows and seconds summed."""
    sums: dict[str, StepReceipt] = {}
    for step in steps:
        before = sums.get(step.step, StepReceipt(step.step))
        rows = {table: before.rows.get(table, 0) + step.rows.get(table, 0) for table in (before.rows | step.rows)}
        sums[step.step] = StepReceipt(step.step, before.days + step.days, rows, before.seconds + step.seconds)
    return list(sums.values())


@dataclass(frozen=True)
class ReceiptTime:
    """A corrected time of receipt for the archived originals with these numbers of receipt, both included."""

    first_seq: int
    last_seq: int
    received_utc: datetime
