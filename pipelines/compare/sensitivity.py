"""The same plan under other choices: one row each, and the row that breaks the verdict.

The list is fixed: a choice the plant's data do not allow stands in it with the reason, so that nothing is left out unseen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipelines.compare import differences, dose_curve, errors_in_x, evidence, ladder
from pipelines.compare.dose_curve import Statistic, Steps
from pipelines.compare.evidence import Evidence
from pipelines.compare.ladder import Ladder
from pipelines.compare.outcomes import Estimate
from pipelines.compare.plan import IN_SETS, Exclusions, Plan

OTHER_TRANSITIONS = (0, 5, 15)  # operating days
LEAST_SETS = 4  # that a curve with some steps left out still rests on
OTHER_BLOCKS = (5, 10, 20)  # operating days
FEED_TS_VARIANCE = 0.05**2  # of ln feed TS of a day: sampling and laboratory together, 5 % (common practice, no source)
_OTHER_DOSES = {
    "feed TS by the online meter": ("dose_by_online_ts", "no online feed solids"),
    "suspended instead of total solids": ("dose_by_tss", "no feed TSS of the laboratory"),
    "start-up and shutdown counted": ("dose_with_startup", "polymer or solids outside processing not known"),
    "polymer by inventory instead of meter": ("dose_by_inventory", "no readings of the polymer stock"),
}
_GROUPS = (("crew", "crew"), ("lot", "polymer lot"))  # column of marks, and its word
Tell = Callable[[str], None]


@dataclass(frozen=True)
class Choice:
    """A row: what was chosen, and the ln ratio it gives; `estimate` None where it gives none."""

    name: str
    estimate: Estimate | None
    note: str


@dataclass(frozen=True)
class Case:
    """What the choices for a ln ratio of days start from; `other`: days under other choices, of line and control, as `read_choices.days` gives them."""

    plan: Plan
    days: pl.DataFrame
    control: pl.DataFrame | None
    value: str
    other: pl.DataFrame
    other_of_control: pl.DataFrame | None = None

    def estimate(
        self, name: str, plan: Plan | None = None, days: pl.DataFrame | None = None, control: pl.DataFrame | None = None
    ) -> Choice:
        """Return the choice with another plan, other days of the line, or of the control line."""
        plan, days = plan or self.plan, self.days if days is None else days
        found = differences.of(
            plan, evidence.gather(plan, days, self.control if control is None else control), self.value, is_ln=True, beside=False
        )
        return Choice(name, found.estimate if found else None, "" if found else differences.TOO_FEW)


def of_days(case: Case, tell: Tell = lambda _: None) -> Iterator[Choice]:
    """Yield the other choices for a ln ratio of a column of days."""
    groups = (_of_exclusions, _of_covariates, _of_transition, _of_doses, _of_weights, _of_weeks, _of_groups)
    for k, group in enumerate(groups, 1):
        tell(f"trying other choices ({k} of {len(groups)})")
        yield from group(case)


def _of_exclusions(case: Case) -> Iterator[Choice]:
    everything = Exclusions(flag_severities=(), provisional_days=False, doubted_meters=False)
    yield case.estimate("all days, excluded ones put back", case.plan.model_copy(update={"exclusions": everything}))
    strict = case.plan.exclusions.model_copy(update={"flag_severities": ("check today", "check this week"), "provisional_days": True})
    yield case.estimate("days with any check flag and provisional days left out", case.plan.model_copy(update={"exclusions": strict}))
    yield case.estimate("weekdays only", days=case.days.filter(pl.col("operating_day").dt.weekday() <= 5))


def _of_covariates(case: Case) -> Iterator[Choice]:
    if case.plan.plan.design in IN_SETS:
        yield Choice("covariates", None, "none needed: the order of arms within sets takes their place")
        return
    covariates = case.plan.covariates
    if case.control is not None:
        yield Choice("covariates", None, "none used: the control line takes their place")
        lone = case.plan.model_copy(update={"plan": case.plan.plan.model_copy(update={"design": "before/after", "control_line": None})})
        found = differences.of(lone, evidence.gather(lone, case.days, None), case.value, is_ln=True)
        yield Choice("control line left out", found.estimate if found else None, "the line alone")
    else:
        other = () if covariates else ("feed_ts_pct",)
        yield case.estimate("no covariates" if covariates else "feed TS as covariate", case.plan.model_copy(update={"covariates": other}))
    yield _eiv(evidence.gather(case.plan, case.days, case.control), case.value)


def _of_transition(case: Case) -> Iterator[Choice]:
    for length in OTHER_TRANSITIONS if case.plan.plan.design not in IN_SETS else ():
        head = case.plan.plan.model_copy(update={"transition_days": length})
        yield case.estimate(f"transition of {length} operating days", case.plan.model_copy(update={"plan": head}))


def _of_doses(case: Case) -> Iterator[Choice]:
    """Yield the dose computed in another way; days the other way does not know keep none."""
    for name, (column, lack) in _OTHER_DOSES.items():
        days, control = _with_dose(case.days, case.other, column), None
        if case.control is not None and case.other_of_control is not None:
            control = _with_dose(case.control, case.other_of_control, column)
        if days["dose_active_kg_t"].drop_nulls().is_empty():
            yield Choice(name, None, lack)
        else:
            yield case.estimate(name, days=days, control=control)
    yield Choice("filtrate diluted or not, results below their limit", None, "of capture, not of the dose as fed")


def _with_dose(days: pl.DataFrame, other: pl.DataFrame, column: str) -> pl.DataFrame:
    joined = days.join(other, on="operating_day", how="left", suffix="_other").with_columns(
        dose_by_inventory=pl.col("dose_active_kg_t") * pl.col("inventory_factor")
    )
    return joined.with_columns(dose_active_kg_t=pl.when(pl.col("dose_active_kg_t").is_not_null()).then(pl.col(column))).select(days.columns)


def _of_weights(case: Case) -> Iterator[Choice]:
    """Yield days weighted by their tons, and blocks of days as units."""
    name = "days weighted by tons"
    yield (
        replace(_in_blocks(case, name, None, by_tons=True), note="ratio of totals within sets")
        if case.plan.sets
        else _in_blocks(case, "weeks, days weighted by tons", 5, by_tons=True)
    )
    for days in OTHER_BLOCKS if not case.plan.sets else ():
        yield _in_blocks(case, f"blocks of {days} operating days", days, by_tons=False)


def _in_blocks(case: Case, name: str, length: int | None, *, by_tons: bool) -> Choice:
    """Return the choice with days joined to blocks of `length` days of one arm (None: blocks of the sets), weighted equally or by tons."""
    found = evidence.gather(case.plan, case.days, case.control)
    days = found.both().join(case.other.select("operating_day", "tons"), on="operating_day", how="left")
    if found.control is not None:
        days = days.join(found.control.used.select("operating_day", pl.col(case.value).alias("_control")), on="operating_day")
        days = days.with_columns((pl.col(case.value) / pl.col("_control")).alias(case.value))
    days = days.filter(pl.col(case.value) > 0.0, pl.col("tons") > 0.0)
    key = ["set_no", "is_after"] if length is None else ["is_after", "block"]
    if length is not None:
        days = days.with_columns(block=(pl.int_range(pl.len()).over("is_after") // length))
    by_weight = (pl.col(case.value) * pl.col("tons")).sum() / pl.col("tons").sum()
    mean = by_weight if by_tons else pl.col(case.value).log().mean().exp()
    units = days.group_by(key).agg(mean.alias(case.value), pl.col("operating_day").min()).sort("operating_day")
    counts = units.group_by("is_after").len()["len"].to_list()
    least = differences.LEAST_EACH if length is None else 2
    if len(counts) < 2 or min(counts) < least or len(units) < 5:
        return Choice(name, None, "too few blocks")
    e = differences.of_units(case.plan, units, np.log(units[case.value].to_numpy()))
    return Choice(name, e, "" if e else "too few blocks")


def _of_weeks(case: Case) -> Iterator[Choice]:
    """Yield the lowest and highest estimate with one week, or set, left out."""
    plan, by_set = case.plan, case.plan.plan.design in IN_SETS
    key = pl.col("operating_day").dt.truncate("1w")
    if by_set:
        tried = [
            case.estimate(f"set {k + 1}", plan.model_copy(update={"sets": (*plan.sets[:k], *plan.sets[k + 1 :])}))
            for k in range(len(plan.sets))
        ]
    else:
        weeks = case.days.select(key.alias("w"))["w"].unique().sort().to_list()
        tried = [case.estimate(f"week of {week}", days=case.days.filter(key != week)) for week in weeks]
    yield from _extremes(tried, "one set left out" if by_set else "one week left out")


def _of_groups(case: Case) -> Iterator[Choice]:
    """Yield the lowest and highest estimate with one crew, or one polymer lot, left out."""
    for column, what in _GROUPS:
        yield from _of_group(case, column, what)


def _of_group(case: Case, column: str, what: str) -> Iterator[Choice]:
    marked = case.days.join(case.other.select("operating_day", column), on="operating_day", how="left", suffix="_other")

    def tried(name: str, kept: pl.Series) -> Choice:
        return case.estimate(name, days=marked.filter(kept).drop(column))

    yield from _one_left_out(marked[column], what, tried)


def _one_left_out(marks: pl.Series, what: str, tried: Callable[[str, pl.Series], Choice]) -> Iterator[Choice]:
    """Yield the lowest and highest estimate with the rows of one group left out; `tried` takes its name and the rows kept. Rows without a mark stay."""
    groups = marks.drop_nulls().unique().sort().to_list()
    if len(groups) < 2:
        yield Choice(f"one {what} left out", None, f"fewer than two {what}s are recorded")
        return
    yield from _extremes([tried(str(g), (marks != g).fill_null(value=True)) for g in groups], f"one {what} left out")


def _extremes(tried: list[Choice], what: str) -> Iterator[Choice]:
    known = [c for c in tried if c.estimate is not None]
    if not known:
        yield Choice(what, None, differences.TOO_FEW)
        return
    for word, pick in (("lowest", min), ("highest", max)):
        chosen = pick(known, key=lambda c: c.estimate.value if c.estimate else 0.0)
        yield Choice(f"{what}, {word} ratio", chosen.estimate, f"without {chosen.name}")


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


def of_ladder(found: Ladder, statistic: Statistic, other: pl.DataFrame) -> Iterator[Choice]:
    """Yield the other choices for a statistic of the dose curve."""
    assert found.steps is not None
    steps = found.steps
    yield _curve("capture alone, cake left out", replace(steps, cake=np.full(len(steps.cake), np.nan)), dose_curve.ln_dose_ratio())
    undiluted = ladder.floats(found.used, "capture_undiluted_pct")
    yield _curve("capture as if the filtrate were undiluted", replace(steps, capture=undiluted), statistic)
    top, bottom = np.quantile(steps.dose, (0.9, 0.1))
    yield _curve("highest tenth of doses left out", steps.kept(steps.dose <= top), statistic)
    yield _curve("lowest tenth of doses left out", steps.kept(steps.dose >= bottom), statistic)
    marked = found.used.join(other.select("operating_day", "crew", "lot"), left_on="first_day", right_on="operating_day", how="left")
    weekdays = found.used["first_day"].dt.weekday().to_numpy() <= 5
    yield (
        _curve("weekdays only", steps.kept(weekdays), statistic)
        if not weekdays.all()
        else Choice("weekdays only", None, "no step on a weekend")
    )
    yield from _extremes([_curve(f"set {k + 1}", steps.kept(steps.sets != k), statistic) for k in range(steps.count)], "one set left out")
    for column, what in _GROUPS:
        yield from _one_left_out(marked[column], what, lambda name, kept: _curve(name, steps.kept(kept.to_numpy()), statistic))
    yield from _of_step_doses(found, steps, statistic, other)


def _of_step_doses(found: Ladder, steps: Steps, statistic: Statistic, other: pl.DataFrame) -> Iterator[Choice]:
    """Yield the curve with the doses of the steps' days in another way."""
    joined = found.used.join(other, left_on="first_day", right_on="operating_day", how="left", suffix="_other")
    factor = ladder.floats(joined, "inventory_factor")
    if np.isfinite(factor).all():
        yield _curve("polymer by inventory instead of meter", replace(steps, dose=steps.dose * factor), statistic)
    else:
        yield Choice("polymer by inventory instead of meter", None, "no readings of the polymer stock over all steps")


def _curve(name: str, steps: Steps, statistic: Statistic) -> Choice:
    try:
        both = len(steps.dose) > 0 and len(np.unique(steps.arm)) == 2 and steps.count >= LEAST_SETS
        found = ladder.estimate(steps, dose_curve.fit(steps), statistic) if both else None
    except np.linalg.LinAlgError:
        found = None
    return Choice(name, found, "" if found else "the curve does not carry it")


def breaks(verdict_is_shown: bool, choices: list[Choice]) -> list[str]:
    """Return the names of choices under which the interval of the ln ratio holds 0 although the saving was shown, or no longer the other way."""
    known = [c for c in choices if c.estimate is not None and np.isfinite(c.estimate.low)]
    return [c.name for c in known if c.estimate is not None and (c.estimate.high < 0.0) != verdict_is_shown]
