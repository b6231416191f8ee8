"""A comparison: plan and store in, rows of the four tables out."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime
from typing import Any

import polars as pl

from pipelines.base.errors import DataMissingError
from pipelines.compare import dose_curve, evidence, ladder, read, read_choices, results, sensitivity
from pipelines.compare.outcomes import Outcome, refused
from pipelines.compare.plan import Loaded
from pipelines.compare.values import OF_OUTCOME
from pipelines.compare.work import Work
from pipelines.store import Store
from schemas import TABLES

Tell = Callable[[str], None]


def compare(store: Store, loaded: Loaded, as_of: datetime, tell: Tell = lambda _: None) -> dict[str, pl.DataFrame]:
    """Return the rows of comparisons, comparison_plans, comparison_days and comparison_checks; nothing is written."""
    tell("reading the days of the plan")
    work = _gathered(store, loaded, as_of)
    failed = [f"{name}: {note}" for name, passed, note in evidence.gates(loaded.plan, work.evidence) if not passed]
    for name, passed, note in evidence.gates(loaded.plan, work.evidence):
        work.check("evidence", name, note, is_passed=passed)
    for rule, count in evidence.left_out_counts(work.evidence):
        work.check("evidence", f"left out: {rule}", f"{count} days", estimate=float(count), unit="days")
    found: list[Outcome] = []
    for name in loaded.plan.plan.outcomes:
        tell(f"computing {name}")
        if failed and results.rests_on_days(loaded.plan, name, failed):
            found.append(refused(name, "; ".join(failed)))
        else:
            found += results.ANSWERS[name](work)
    found = _with_choices(work, found, tell)
    return _tables(work, found, as_of)


def _gathered(store: Store, loaded: Loaded, as_of: datetime) -> Work:
    plan = loaded.plan
    days = read.days(store, plan, plan.plan.line)
    if days.is_empty():
        raise DataMissingError(
            f"there are no days of {plan.plan.line} between {plan.plan.first_day} and {plan.plan.last_day}",
            remedy="check line and days of the plan, and that `flocledger nightly` took the exports in",
        )
    control = read.days(store, plan, plan.plan.control_line) if plan.plan.control_line else None
    past = read.history(store, plan.plan.line, plan.plan.arm_from, plan.plan.first_day, plan.plan.control_line)
    found, steps = evidence.gather(plan, days, control), ladder.gather(plan, read.steps(store, plan))
    return Work(loaded, store, days, control, found, steps, _caps(loaded, days, as_of), past=past)


def _caps(loaded: Loaded, days: pl.DataFrame, as_of: datetime) -> tuple[str, ...]:
    """Return what forbids "shown" for every outcome of a plan."""
    head, caps = loaded.plan.plan, []
    changed = [d for d in days.filter(pl.col("arrangement") == head.arm_to)["operating_day"].to_list() if d >= head.first_day]
    if not loaded.frozen_utc:
        caps.append("the plan is a draft: it was not frozen")
    elif changed and loaded.frozen_utc.date() > min(changed):
        caps.append("the plan was frozen after the new arrangement began")
    if as_of.date() <= head.last_day:
        caps.append(f"read before the plan's last day {head.last_day}: an interval read early and again is wrong more often than it says")
    return tuple(caps)


def _with_choices(work: Work, found: list[Outcome], tell: Tell) -> list[Outcome]:
    """Add the rows of other choices of the primary saving, and say "not robust" where one breaks it."""
    primary = found[0]
    if primary.estimate is None or primary.name not in ("fed-dose saving", "iso-performance saving"):
        return found
    plan = work.loaded.plan
    other = read_choices.days(work.store, plan.plan.line)
    if primary.name == "iso-performance saving":
        asked = plan.performance
        tell("trying other choices")
        choices = list(sensitivity.of_ladder(work.ladder, dose_curve.ln_dose_ratio(asked.cake_pct, asked.capture_pct), other))
    else:
        of_control = read_choices.days(work.store, plan.plan.control_line) if plan.plan.control_line else None
        case = sensitivity.Case(plan, work.days, work.control, OF_OUTCOME[primary.name].column, other, of_control)
        choices = list(sensitivity.of_days(case, tell))
    return [results.robust(work, primary, choices), *found[1:]]


def _tables(work: Work, found: list[Outcome], as_of: datetime) -> dict[str, pl.DataFrame]:
    loaded, head = work.loaded, work.loaded.plan.plan
    days = _days(work)
    versions = sorted(set(days.filter(pl.col("is_used"))["data_version"].to_list()))
    version = hashlib.sha256("|".join([loaded.body_hash, *versions]).encode()).hexdigest()[:12]
    key = {"plant": work.store.plant, "plan": loaded.name, "plan_hash": loaded.shown_hash}
    said = {"arm_from": head.arm_from, "arm_to": head.arm_to, "data_version": version, "as_of_utc": as_of}
    first, last = evidence.first_and_last(work.evidence)
    plan_row = key | said | {
        "line": head.line, "question": head.question, "design": head.design, "first_day": first, "last_day": last,
        "is_frozen": loaded.frozen_utc is not None, "frozen_utc": loaded.frozen_utc, "amendments": loaded.amendments_text,
        "units": str(work.store.rows("SELECT units FROM line_settings WHERE line = $l", {"l": head.line})[0][0]),
        "method_text": results.method_text(work), "not_claimed": head.not_claimed, "plan_text": loaded.text,
    }  # fmt: skip
    numbered: dict[str, int] = {}
    checks = []
    for row in work.checks:
        numbered[row["kind"]] = numbered.get(row["kind"], 0) + 1
        checks.append(key | row | {"position_no": numbered[row["kind"]]})
    rows = {"comparisons": [key | said | _row(o) for o in found], "comparison_plans": [plan_row], "comparison_checks": checks}
    tables = {name: _frame(name, content) for name, content in rows.items()}
    return tables | {"comparison_days": _frame("comparison_days", [key | r for r in days.iter_rows(named=True)])}


def _row(outcome: Outcome) -> dict[str, Any]:
    e = outcome.estimate
    numbers = dict.fromkeys(("estimate", "low", "high", "level")) | {"unit": "-", "method": "none", "days_from": 0, "days_to": 0}
    if e is not None:
        numbers = {
            "estimate": e.value, "low": _finite(e.low), "high": _finite(e.high), "level": e.level, "unit": e.unit, "method": e.method,
            "days_from": e.days_from, "days_to": e.days_to,
        }  # fmt: skip
    return {"outcome": outcome.name, "verdict": outcome.verdict, "reason": outcome.reason} | numbers


def _finite(value: float) -> float | None:
    return value if abs(value) < float("inf") else None


def _days(work: Work) -> pl.DataFrame:
    """Return the days of all parts, control and ladder steps, as comparison_days has them (without the key)."""
    columns = [c for c in TABLES["comparison_days"].column_names if c not in ("plant", "plan", "plan_hash")]
    parts = [
        ("baseline", work.evidence.baseline.frame),
        ("transition", work.evidence.transition.frame),
        ("trial", work.evidence.trial.frame),
    ]
    if work.evidence.control is not None:
        parts.append(("control", work.evidence.control.frame))
    frames = [_as_rows(f, part, "period_start_utc", "operating_day") for part, f in parts]
    steps = _as_rows(work.ladder.frame, "trial", "start_utc", "first_day")
    steps = steps.with_columns(
        part=pl.when(pl.col("arm") == work.loaded.plan.plan.arm_from).then(pl.lit("baseline")).otherwise(pl.col("part"))
    )
    taken = pl.concat(frames, how="diagonal_relaxed")
    if (
        work.ladder.steps is not None and not steps.is_empty()
    ):  # steps are the evidence then; a whole-day step shares its start with its day
        taken = pl.concat(
            [steps, taken.join(steps.select("line", "start_utc"), on=["line", "start_utc"], how="anti")], how="diagonal_relaxed"
        )
    return taken.select(pl.col(c) if c in taken.columns else pl.lit(None).alias(c) for c in columns).sort("line", "start_utc")


def _as_rows(frame: pl.DataFrame, part: str, start: str, day: str) -> pl.DataFrame:
    left_out = pl.lit("transition") if part == "transition" else pl.col("left_out")
    return frame.with_columns(
        start_utc=pl.col(start), operating_day=pl.col(day), part=pl.lit(part), arm=pl.col("arrangement"), left_out=left_out
    ).with_columns(is_used=pl.col("left_out").is_null())


def _frame(table: str, rows: list[dict[str, Any]]) -> pl.DataFrame:
    schema = TABLES[table].polars_schema()
    return pl.DataFrame([{c: r.get(c) for c in schema} for r in rows], schema=schema)
