"""Difference of arm_to and arm_from in one value of days, by the method its design asks for, with the caps that come with it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pipelines.compare import before_after, control, randomisation
from pipelines.compare.evidence import Evidence
from pipelines.compare.gls import Array
from pipelines.compare.outcomes import Estimate
from pipelines.compare.plan import IN_SETS, Plan

LEAST_EACH = 5  # days of an arm with the value; fewer give no difference
NOT_CALIBRATED = "before/after without at least 20 nearly independent sham switches"
NOT_DRAWN = "the order of arms was not drawn"
TOO_FEW = f"fewer than {LEAST_EACH} days of each arm with the value"
TOO_FEW_SETS = f"fewer than {randomisation.LEAST_SETS} sets, or {LEAST_EACH} days of each arm, with the value"


@dataclass(frozen=True)
class Difference:
    """Estimate in the unit of the value (or of its ln), caps on the verdict, and each method's own interval for the checks."""

    estimate: Estimate
    caps: tuple[str, ...]
    others: tuple[tuple[str, float, float, float, str], ...]  # method, estimate, low, high, note


def of(
    plan: Plan, evidence: Evidence, value: str, *, is_ln: bool, level: float = 0.95, past: pl.DataFrame | None = None, beside: bool = True
) -> Difference | None:
    """Return the difference of a column of days; None with fewer than 5 days of an arm, or fewer than 6 whole sets.

    `beside`: with what each line of a controlled design did alone; a year of days costs four times as much then. `past`: quiet days before the plan, for sham switches; with a control line as `read.history` joins both.
    """
    days = evidence.both().filter(pl.col(value).is_not_null() & (pl.col(value) > 0.0 if is_ln else pl.lit(True)))
    after = days["is_after"].to_numpy()
    if min(int(after.sum()), int((1 - after).sum())) < LEAST_EACH:
        return None
    y = _values(days, value, is_ln)
    counts = (int((1 - after).sum()), int(after.sum()))
    if plan.plan.design in IN_SETS:
        return _in_sets(plan, days, y, after, level, counts)
    if evidence.control is not None:
        return _controlled(evidence, days, value, is_ln, level, past, beside=beside)
    covariates = _covariates(plan, days)
    quiet = None if past is None else _quiet(past, value, is_ln)
    found = before_after.step(_times(days), y, after, covariates, quiet, level)
    return Difference(_estimate(found, level, counts), () if found.is_calibrated else (NOT_CALIBRATED,), _methods(found))


def _values(days: pl.DataFrame, value: str, is_ln: bool) -> Array:
    y = days[value].to_numpy().astype(float)
    return np.log(y) if is_ln else y


def _times(days: pl.DataFrame) -> Array:
    return np.array([d.toordinal() for d in days["operating_day"].to_list()], dtype=float)


def _quiet_of_both(past: pl.DataFrame, value: str, is_ln: bool) -> tuple[Array, Array] | None:
    """Return times and the difference of line and control on quiet days both have; None without the column or such days."""
    other = f"{value}_of_control"
    if value not in past.columns or other not in past.columns:
        return None
    known = past.filter(pl.all_horizontal(pl.col(c).is_not_null() & (pl.col(c) > 0.0 if is_ln else pl.lit(True)) for c in (value, other)))
    return (_times(known), _values(known, value, is_ln) - _values(known, other, is_ln)) if known.height else None


def _quiet(past: pl.DataFrame, value: str, is_ln: bool) -> tuple[Array, Array] | None:
    if value not in past.columns:
        return None
    known = past.filter(pl.col(value).is_not_null() & (pl.col(value) > 0.0 if is_ln else pl.lit(True)))
    return (_times(known), _values(known, value, is_ln)) if known.height else None


def _covariates(plan: Plan, days: pl.DataFrame) -> Array | None:
    columns = [np.log(days[c].fill_null(strategy="mean").to_numpy().astype(float)) for c in plan.covariates if days[c].drop_nulls().len()]
    return np.column_stack(columns) if columns else None


def _estimate(found: before_after.BeforeAfter, level: float, counts: tuple[int, int]) -> Estimate:
    return Estimate(found.estimate, found.low, found.high, "-", 100.0 * level, found.method, *counts)


def _methods(found: before_after.BeforeAfter) -> tuple[tuple[str, float, float, float, str], ...]:
    fit = found.fit
    note = f"lag-1 correlation {fit.lag1:.2f}, {fit.n} days worth {fit.effective_days:.0f} independent ones"
    shams = "too few to calibrate" if found.sham_factor is None else f"widens the default by {found.sham_factor:.2f}"
    rows = [
        ("AR(1) plus white noise, REML averaged", fit.estimate, fit.low, fit.high, note),
        ("equally weighted cosines", *found.cosines, "second opinion"),
    ]
    if found.sham_factor is not None:
        half = found.sham_factor * fit.half
        rows.append(("sham switches", fit.estimate, fit.estimate - half, fit.estimate + half, f"{found.shams} switches; {shams}"))
    return tuple(rows)


def of_units(plan: Plan, units: pl.DataFrame, y: Array) -> Estimate | None:
    """Return the difference of blocks of days (is_after, operating_day, in sets set_no) of values y in order of time; None with too few sets."""
    after = units["is_after"].to_numpy()
    counts = (int((1 - after).sum()), int(after.sum()))
    if plan.plan.design in IN_SETS:
        found = _in_sets(plan, units, y, after, 0.95, counts)
        return found.estimate if found else None
    return _estimate(before_after.step(_times(units), y, after), 0.95, counts)


def set_means(set_no: pl.Series, arm: Array, y: Array, day: pl.Series) -> pl.DataFrame:
    """Return set_no, arm, y (mean of the block) and day (first of the block) of sets with both arms, in order of time."""
    frame = pl.DataFrame({"set_no": set_no, "arm": arm, "y": y, "day": day}).drop_nulls()
    units = frame.group_by("set_no", "arm").agg(pl.col("y").mean(), pl.col("day").min()).sort("day")
    whole = units.group_by("set_no").len().filter(pl.col("len") == 2)["set_no"]
    return units.filter(pl.col("set_no").is_in(whole.implode()))


def _in_sets(plan: Plan, days: pl.DataFrame, y: Array, after: Array, level: float, counts: tuple[int, int]) -> Difference | None:
    """Return the randomisation inference over whole sets; block means are the units, so days within a block need no model."""
    units = set_means(days["set_no"], after, y, days["operating_day"])
    count = units["set_no"].n_unique()
    if count < randomisation.LEAST_SETS:
        return None
    sets, arms, values = units["set_no"].to_numpy(), units["arm"].to_numpy().astype(np.int8), units["y"].to_numpy()
    orders = randomisation.possible_orders(sets, arms, plan.draw.seed)
    found = randomisation.infer(values, orders, sets, level)
    carry = randomisation.carry_over_p(values, orders, found.estimate)
    caps = (() if plan.draw.is_drawn else (NOT_DRAWN,)) + (("carry-over between blocks (p < 0.05)",) if carry < 0.05 else ())
    estimate = Estimate(found.estimate, found.low, found.high, "-", 100.0 * level, "randomisation test inverted", *counts)
    note = f"{count} sets, {found.orders:,} orders, p = {found.p_value:.3f} of no difference; carry-over p = {carry:.2f}"
    return Difference(estimate, caps, (("randomisation test inverted", found.estimate, found.low, found.high, note),))


def _controlled(
    evidence: Evidence, days: pl.DataFrame, value: str, is_ln: bool, level: float, past: pl.DataFrame | None, *, beside: bool
) -> Difference | None:
    assert evidence.control is not None
    other = evidence.control.used.filter(pl.col(value).is_not_null() & (pl.col(value) > 0.0 if is_ln else pl.lit(True)))
    both = days.join(other.select("operating_day", pl.col(value).alias("of_control")), on="operating_day").sort("operating_day")
    after = both["is_after"].to_numpy()
    counts = (int((1 - after).sum()), int(after.sum()))
    if min(counts) < LEAST_EACH:
        return None
    mine, theirs = _values(both, value, is_ln), _values(both, "of_control", is_ln)
    quiet = None if past is None else _quiet_of_both(past, value, is_ln)
    if not beside:
        lone = before_after.step(_times(both), mine - theirs, after, history=quiet, level=level)
        return Difference(_estimate(lone, level, counts), (), ())
    found = control.step(_times(both), mine, theirs, after, quiet)
    narrow = found.difference if level == 0.95 else before_after.step(_times(both), mine - theirs, after, history=quiet, level=level)
    trend = found.trend_before
    caps = () if found.difference.is_calibrated else (NOT_CALIBRATED,)
    if trend[1] > 0.0 or trend[2] < 0.0:
        caps = (*caps, "the lines drifted apart before the change")
    alone = (
        ("the line alone", found.raw.estimate, found.raw.low, found.raw.high, "not what is claimed"),
        ("the control line alone", found.control.estimate, found.control.low, found.control.high,
         f"what the unchanged line did; residuals of the lines correlate {found.correlation:.2f}"),
        ("difference of lines before the change, per 30 days", *trend, "parallel when it holds 0"),
    )  # fmt: skip
    return Difference(_estimate(narrow, level, counts), caps, (*_methods(narrow), *alone))


def span(days: pl.DataFrame) -> tuple[date, date]:
    """Return first and last day of a frame."""
    column = days["operating_day"]
    return column.min(), column.max()  # type: ignore[return-value]
