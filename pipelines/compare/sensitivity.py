"""The same plan under other choices: one row each, and the row that breaks the verdict.

Choices with a table of their own elsewhere (non-detects, methods of the lab, inventory against meter) are left to the views of those names.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipelines.compare import differences, dose_curve, errors_in_x, evidence, ladder
from pipelines.compare.differences import Difference
from pipelines.compare.dose_curve import Statistic, Steps
from pipelines.compare.evidence import Evidence
from pipelines.compare.ladder import Ladder
from pipelines.compare.outcomes import Estimate
from pipelines.compare.plan import IN_SETS, Exclusions, Plan

OTHER_TRANSITIONS = (0, 5, 15)  # operating days
FEED_TS_VARIANCE = 0.05**2  # of ln feed TS of a day: sampling and laboratory together, 5 % (common practice, no source)


@dataclass(frozen=True)
class Choice:
    """A row: what was chosen, and the ln ratio it gives; `estimate` None where it gives none."""

    name: str
    estimate: Estimate | None
    note: str


def of_days(plan: Plan, days: pl.DataFrame, control: pl.DataFrame | None, value: str) -> Iterator[Choice]:
    """Yield the other choices for a ln ratio of a column of days."""
    everything = plan.model_copy(update={"exclusions": Exclusions(flag_severities=(), provisional_days=False, doubted_meters=False)})
    yield _row("all days, excluded ones put back", everything, days, control, value)
    strict = plan.exclusions.model_copy(update={"flag_severities": ("check today", "check this week"), "provisional_days": True})
    yield _row(
        "days with any check flag and provisional days left out", plan.model_copy(update={"exclusions": strict}), days, control, value
    )
    if plan.covariates:
        yield _row("no covariates", plan.model_copy(update={"covariates": ()}), days, control, value)
    if plan.plan.design not in IN_SETS:
        for length in OTHER_TRANSITIONS:
            head = plan.plan.model_copy(update={"transition_days": length})
            yield _row(f"transition of {length} operating days", plan.model_copy(update={"plan": head}), days, control, value)
        yield _eiv(evidence.gather(plan, days, control), value)
    weekdays = days.filter(pl.col("operating_day").dt.weekday() <= 5)
    yield _row("weekdays only", plan, weekdays, control, value)
    yield from _weeks(plan, days, control, value)


def _row(name: str, plan: Plan, days: pl.DataFrame, control: pl.DataFrame | None, value: str) -> Choice:
    found = _difference(plan, days, control, value)
    return Choice(name, found.estimate if found else None, "" if found else "too few days")


def _difference(plan: Plan, days: pl.DataFrame, control: pl.DataFrame | None, value: str) -> Difference | None:
    return differences.of(plan, evidence.gather(plan, days, control), value, is_ln=True)


def _weeks(plan: Plan, days: pl.DataFrame, control: pl.DataFrame | None, value: str) -> Iterator[Choice]:
    """Yield the lowest and highest estimate with one week, or set, left out."""
    by_set = plan.plan.design in IN_SETS
    key = pl.col("operating_day").dt.truncate("1w")
    found = []
    if by_set:
        for k in range(len(plan.sets)):
            less = plan.model_copy(update={"sets": (*plan.sets[:k], *plan.sets[k + 1 :])})
            found.append((f"set {k + 1}", _difference(less, days, control, value)))
    else:
        for week in days.select(key.alias("w"))["w"].unique().sort().to_list():
            found.append((f"week of {week}", _difference(plan, days.filter(key != week), control, value)))
    known = [(name, d.estimate) for name, d in found if d is not None]
    if known:
        low, high = min(known, key=lambda x: x[1].value), max(known, key=lambda x: x[1].value)
        what = "one set" if by_set else "one week"
        yield Choice(f"{what} left out, lowest ratio", low[1], f"without {low[0]}")
        yield Choice(f"{what} left out, highest ratio", high[1], f"without {high[0]}")


def _eiv(found: Evidence, value: str) -> Choice:
    """Return the step at equal feed TS with the error of feed TS allowed for; no interval of its own."""
    name = "at equal feed TS, its error allowed for"
    days = found.both().filter(pl.col(value) > 0.0, pl.col("feed_ts_pct") > 0.0)
    try:
        step = errors_in_x.adjusted_step(
            days["is_after"].to_numpy(), np.log(days["feed_ts_pct"].to_numpy()), np.log(days[value].to_numpy()), FEED_TS_VARIANCE
        )
    except ValueError as error:
        return Choice(name, None, str(error))
    return Choice(name, Estimate(step, float("nan"), float("nan"), "-", 95.0, "corrected moments", 0, 0), "estimate only, the line alone")


def of_ladder(found: Ladder, statistic: Statistic) -> Iterator[Choice]:
    """Yield the other choices for a statistic of the dose curve."""
    assert found.steps is not None
    steps = found.steps
    yield _curve("capture alone, cake left out", replace(steps, cake=np.full(len(steps.cake), np.nan)), dose_curve.ln_dose_ratio())
    if "capture_undiluted_pct" in found.frame.columns:
        used = found.frame.filter(pl.col("left_out").is_null())["capture_undiluted_pct"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
        yield _curve("capture as if the filtrate were undiluted", replace(steps, capture=used), statistic)
    top = np.quantile(steps.dose, 0.9)
    yield _curve("highest tenth of doses left out", steps.kept(steps.dose <= top), statistic)
    yield _curve("lowest tenth of doses left out", steps.kept(steps.dose >= np.quantile(steps.dose, 0.1)), statistic)
    tried = [(k, _curve(f"without set {k + 1}", steps.kept(steps.sets != k), statistic)) for k in range(steps.count)]
    known = [(k, c) for k, c in tried if c.estimate is not None]
    for word, pick in (("lowest", min), ("highest", max)):
        if known:
            k, choice = pick(known, key=lambda x: x[1].estimate.value if x[1].estimate else 0.0)
            yield Choice(f"one set left out, {word} ratio", choice.estimate, f"without set {k + 1}")


def _curve(name: str, steps: Steps, statistic: Statistic) -> Choice:
    try:
        found = ladder.estimate(steps, dose_curve.fit(steps), statistic)
    except np.linalg.LinAlgError:
        found = None
    return Choice(name, found, "" if found else "the curve does not carry it")


def breaks(verdict_is_shown: bool, choices: list[Choice]) -> list[str]:
    """Return the names of choices under which the interval of the ln ratio holds 0 although the saving was shown, or no longer the other way."""
    known = [c for c in choices if c.estimate is not None and np.isfinite(c.estimate.low)]
    return [c.name for c in known if c.estimate is not None and (c.estimate.high < 0.0) != verdict_is_shown]
