"""Wear of the line's pumps, as an outcome: one row a physical pump, with the even-handed list of events."""

from __future__ import annotations

from typing import Any

from pipelines.compare import read, wear
from pipelines.compare.outcomes import NOT_SHOWN, WORSE, Estimate, Outcome, refused
from pipelines.compare.work import Work

NAME = "wear of the pump"


def of_pumps(work: Work) -> list[Outcome]:
    """Judge the wear of each pump of the line: a loss measured is "worse"; none resolved is "not shown", never "no wear"."""
    line = work.loaded.plan.plan.line
    weeks = read.pump_weeks(work.store)
    rows = [r for r in wear.of_plant(work.store.plant, weeks, wear.version_of(weeks)).to_dicts() if r["line"] == line]
    for day, pump, what in read.pump_events(work.store, line):
        work.check("wear", f"event of {pump}", f"{day}: {what}")
    return [_judged(work, r) for r in rows] or [refused(NAME, "no week of the line has a pump index")]


def _judged(work: Work, row: dict[str, Any]) -> Outcome:
    name = f"{NAME} {row['pump']}"
    if row["refusal"] is not None:
        return refused(name, row["refusal"])
    note = f"{row['index_kind']} {row['index_now']:.3f} over the last {wear.LAST_WEEKS} weeks, threshold {row['threshold_index']:.2f} (common practice)"
    ends = {"low": row["years_to_threshold_low"], "high": row["years_to_threshold_high"]}
    work.check("wear", f"time until the threshold, {row['pump']}", note, unit="years", **ends)
    estimate = Estimate(
        row["loss_pct_year"],
        row["loss_pct_year_low"],
        row["loss_pct_year_high"],
        "%/year",
        95.0,
        "trend, drift of meters added",
        0,
        7 * row["weeks"],
    )
    return Outcome(name, estimate, WORSE if row["loss_pct_year_low"] > 0.0 else NOT_SHOWN, row["sentence"])
