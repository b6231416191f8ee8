"""Ladder steps of a plan, and what the dose curve says of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipelines.compare import dose_curve
from pipelines.compare.designs import set_of
from pipelines.compare.dose_curve import Curve, Statistic, Steps
from pipelines.compare.outcomes import Estimate
from pipelines.compare.plan import Plan
from pipelines.compare.randomisation import LEAST_SETS

OUT_OF_REACH = "an arm does not reach the cake and capture asked for at any dose, with one set or another left out"
LEAST_STEPS = 4  # of each arm at different doses; fewer carry no curve


@dataclass(frozen=True)
class Ladder:
    """Steps with their curve; `refusal` names the rule when there is no number."""

    frame: pl.DataFrame  # steps with left_out, set_no, is_after
    steps: Steps | None
    curve: Curve | None
    refusal: str | None

    @property
    def used(self) -> pl.DataFrame:
        return self.frame.filter(pl.col("left_out").is_null())


def gather(plan: Plan, steps: pl.DataFrame) -> Ladder:
    """Return the plan's ladder: steps in sets with both arms, and their curve."""
    head = plan.plan
    in_set = [set_of(plan.sets, d) for d in steps["first_day"].to_list()]
    frame = steps.with_columns(pl.Series("set_no", [s[0] if s else None for s in in_set], pl.Int32)).with_columns(
        left_out=pl.when(~pl.col("arrangement").is_in([head.arm_from, head.arm_to]) | pl.col("arrangement").is_null())
        .then(pl.lit("neither arm, or two in one step")).when(pl.col("set_no").is_null()).then(pl.lit("outside every set of the plan"))
        .when(pl.col("dose_active_kg_t").is_null()).then(pl.coalesce("step_reason", pl.lit("no dose")))
        .when(pl.col("capture_pct").is_null() & pl.col("cake_ts_pct").is_null()).then(pl.lit("neither cake nor capture")),
        is_after=(pl.col("arrangement") == head.arm_to).cast(pl.Float64),
    )  # fmt: skip
    used = frame.filter(pl.col("left_out").is_null())
    whole = used.group_by("set_no").agg(pl.col("is_after").n_unique()).filter(pl.col("is_after") == 2)["set_no"]
    frame = frame.with_columns(
        left_out=pl.when(pl.col("left_out").is_null() & ~pl.col("set_no").is_in(whole.implode()))
        .then(pl.lit("set without a step of the other arm")).otherwise(pl.col("left_out"))
    )  # fmt: skip
    used = frame.filter(pl.col("left_out").is_null())
    each = [used.filter(pl.col("is_after") == arm).height for arm in (0.0, 1.0)]
    if len(whole) < LEAST_SETS:
        return Ladder(frame, None, None, f"{len(whole)} sets with ladder steps of both arms, {LEAST_SETS} needed")
    if min(each) < LEAST_STEPS:
        return Ladder(frame, None, None, f"{min(each)} ladder steps in an arm, {LEAST_STEPS} needed")
    _, sets = np.unique(used["set_no"].to_numpy(), return_inverse=True)
    dose, arm, cake, capture = (floats(used, c) for c in ("dose_active_kg_t", "is_after", "cake_ts_pct", "capture_pct"))
    found = Steps(dose, arm, sets, cake, capture)
    return Ladder(frame, found, dose_curve.fit(found), None)


def floats(frame: pl.DataFrame, column: str) -> Any:
    """Return a column as doubles, NaN where null."""
    return frame[column].cast(pl.Float64).fill_null(float("nan")).to_numpy()


def estimate(steps: Steps, curve: Curve, statistic: Statistic, level: float = 0.95, fixed: tuple[int, ...] = ()) -> Estimate | None:
    """Return a statistic of the curve with its interval; None where a set left out makes it infinite: the ladder does not carry it."""
    whole, pseudo = dose_curve.pseudo_values(steps, curve, statistic, fixed)
    if not (np.isfinite(whole) and np.isfinite(pseudo).all()):
        return None
    _, low, high = dose_curve.interval_t(pseudo, dose_curve.model_error(steps, curve, statistic), level)
    counts = [int((steps.arm == a).sum()) for a in (0.0, 1.0)]
    return Estimate(whole, low, high, "-", 100.0 * level, "dose curve, sets left out in turn", counts[0], counts[1])


def caps(ladder: Ladder, plan: Plan) -> tuple[str, ...]:
    """Return what forbids "shown" for the saving at equal performance."""
    assert ladder.steps is not None
    assert ladder.curve is not None
    found = []
    if dose_curve.parallelism_p(ladder.steps) < dose_curve.NOT_PARALLEL_P:
        found.append("the arms' curves differ in shape (p < 0.01): one percentage does not exist")
    asked = plan.performance
    for arm, name in ((0.0, plan.plan.arm_from), (1.0, plan.plan.arm_to)):
        needed = float(
            np.maximum(*dose_curve.required_ln_dose(ladder.curve.parameters[None, :], arm, asked.cake_pct, asked.capture_pct))[0]
        )
        doses = np.log(ladder.steps.dose[ladder.steps.arm == arm] / ladder.curve.scale)
        if np.isfinite(needed) and not doses.min() <= needed <= doses.max():
            found.append(f"the dose needed by '{name}' lies outside its ladder")
    return tuple(found)


def binding(curve: Curve, plan: Plan) -> dict[str, str]:
    """Return for each arm which of cake and capture asks for more dose."""
    asked, found = plan.performance, {}
    for arm, name in ((0.0, plan.plan.arm_from), (1.0, plan.plan.arm_to)):
        cake, capture = (
            float(v[0]) for v in dose_curve.required_ln_dose(curve.parameters[None, :], arm, asked.cake_pct, asked.capture_pct)
        )
        found[name] = "nothing asked" if cake == capture == -np.inf else "cake" if cake > capture else "capture"
    return found
