"""Evidence of a comparison: baseline, transition and trial are different types, so that none can stand for another.

A rule leaves a day out and is named on it; a gate refuses the number and is named in its place. Rules are of the plan or of this module; none looks
at the outcome of a day. Floors: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pipelines.compare.designs import set_of
from pipelines.compare.gls import Array
from pipelines.compare.plan import IN_SETS, Plan

LEAST_DAYS = 20  # operating days of each arm, before/after and control line
LEAST_SETS = 6  # sets with both arms: with fewer no randomisation test can reject at 5 %
COUNTS = ("sets with both arms", "days of ")  # how the names of the gates on how much there is begin
MOST_DOUBTED_SHARE = 0.25  # of an arm's days in weeks with a meter in doubt
OUTSIDE = "feed TS outside the range that both arms saw"


@dataclass(frozen=True)
class Days:
    """Operating days of one part: a frame as `read.days` gives it, with columns left_out and set_no."""

    frame: pl.DataFrame

    @property
    def used(self) -> pl.DataFrame:
        return self.frame.filter(pl.col("left_out").is_null())


@dataclass(frozen=True)
class Baseline(Days):
    """Days of arm_from."""


@dataclass(frozen=True)
class Transition(Days):
    """Days after a change of arrangement, of neither arm."""


@dataclass(frozen=True)
class Trial(Days):
    """Days of arm_to."""


@dataclass(frozen=True)
class Evidence:
    """All days of a plan by part; `control` is the control line's, on the same days."""

    baseline: Baseline
    transition: Transition
    trial: Trial
    control: Days | None

    def both(self) -> pl.DataFrame:
        """Return used days of both arms in order of time, with is_after (1: arm_to)."""
        parts = [self.baseline.used.with_columns(is_after=pl.lit(0.0)), self.trial.used.with_columns(is_after=pl.lit(1.0))]
        return pl.concat(parts).sort("operating_day")


def gather(plan: Plan, days: pl.DataFrame, control: pl.DataFrame | None) -> Evidence:
    """Return the evidence of a plan from the days of its line and of the control line."""
    marked = _marked(plan, days)
    if plan.plan.design == "before/after":
        marked = _in_common_range(marked)
    frames = [marked.filter(pl.col("part") == part).drop("part") for part in ("baseline", "transition", "trial")]
    other = None if control is None else Days(control.with_columns(left_out=_rules(plan, control), set_no=pl.lit(None, pl.Int32)))
    return Evidence(Baseline(frames[0]), Transition(frames[1]), Trial(frames[2]), other)


def _marked(plan: Plan, days: pl.DataFrame) -> pl.DataFrame:
    """Return days with part, left_out and set_no; days of neither arm are dropped."""
    head = plan.plan
    found = days.with_columns(left_out=_rules(plan, days))
    in_set = [set_of(plan.sets, d) for d in days["operating_day"].to_list()]
    found = found.with_columns(pl.Series("set_no", [s[0] if s else None for s in in_set], pl.Int32))
    if plan.sets:
        planned = pl.Series("planned", [s[1] if s else None for s in in_set], pl.String)
        found = found.with_columns(planned).with_columns(
            left_out=pl.when(pl.col("planned").is_null()).then(pl.lit("outside every set of the plan"))
            .when(pl.col("arrangement") != pl.col("planned")).then(pl.lit("another arrangement than planned")).otherwise(pl.col("left_out"))
        ).drop("planned")  # fmt: skip
    part = (
        pl.when(_transition(found, head.transition_days if not plan.sets else 0)).then(pl.lit("transition"))
        .when(pl.col("arrangement") == head.arm_from).then(pl.lit("baseline"))
        .when(pl.col("arrangement") == head.arm_to).then(pl.lit("trial"))
    )  # fmt: skip
    return found.with_columns(part=part).filter(pl.col("part").is_not_null())


def _in_common_range(marked: pl.DataFrame) -> pl.DataFrame:
    """Leave out days whose feed TS only one arm saw: before/after has neither a draw nor a control line that would answer for them."""
    used = pl.col("left_out").is_null()
    ends = [
        [
            marked.filter(used, pl.col("part") == part)["feed_ts_pct"].cast(pl.Float64).quantile(q, "nearest")
            for part in ("baseline", "trial")
        ]
        for q in (0.0, 1.0)
    ]
    if None in ends[0]:
        return marked
    low, high = max(v for v in ends[0] if v is not None), min(v for v in ends[1] if v is not None)
    is_outside = used & pl.col("part").is_in(["baseline", "trial"]) & ~pl.col("feed_ts_pct").is_between(low, high).fill_null(value=True)
    return marked.with_columns(left_out=pl.when(is_outside).then(pl.lit(OUTSIDE)).otherwise("left_out"))


def _transition(days: pl.DataFrame, length: int) -> pl.Series:
    """Tell the first `length` operating days with processing after each change of arrangement, and those the plant file marks."""
    is_in = days["is_in_transition"].to_list()
    before: str | None = None
    left = 0
    for k, (name, minutes) in enumerate(zip(days["arrangement"].to_list(), days["processing_minutes"].to_list(), strict=True)):
        if name is not None and before is not None and name != before:
            left = length
        before = name or before
        if left > 0:
            is_in[k] = True
            left -= 1 if (minutes or 0) > 0 else 0
    return pl.Series(is_in)


def _rules(plan: Plan, days: pl.DataFrame) -> pl.Series:
    """Return the first rule that leaves a day out; null: none."""
    rules = plan.exclusions
    flagged = pl.lit(False)
    for severity in rules.flag_severities:
        flagged = flagged | pl.col("severities").list.contains(severity).fill_null(value=False)
    said = (
        pl.when(pl.col("is_mixed")).then(pl.lit("two arrangements on one day"))
        .when(pl.col("arrangement").is_null()).then(pl.lit("no arrangement declared"))
        .when(pl.col("dose_active_kg_t").is_null()).then(pl.concat_str([pl.lit("no dose: "), pl.col("dose_reason").fill_null("gate of the day")]))
        .when(pl.lit(rules.doubted_meters) & pl.col("doubt").is_not_null()).then(pl.concat_str([pl.lit("meter in doubt: "), pl.col("doubt")]))
        .when(flagged).then(pl.lit("flagged " + " or ".join(rules.flag_severities)))
        .when(pl.lit(rules.provisional_days) & pl.col("is_provisional")).then(pl.lit("provisional: feed TS held"))
    )  # fmt: skip
    return days.select(left_out=said)["left_out"]


def gates(plan: Plan, evidence: Evidence) -> list[tuple[str, bool, str]]:
    """Return name, passed and what was found of every gate; one that fails refuses every number of the plan."""
    head = plan.plan
    base, trial = evidence.baseline, evidence.trial
    rows = []
    if head.design in IN_SETS:
        whole = _whole_sets(evidence)
        rows.append((COUNTS[0], whole >= LEAST_SETS, f"{whole} sets with days of both arms, {LEAST_SETS} needed"))
    else:
        for name, days in ((head.arm_from, base), (head.arm_to, trial)):
            rows.append(
                (f"{COUNTS[1]}'{name}'", days.used.height >= LEAST_DAYS, f"{days.used.height} operating days used, {LEAST_DAYS} needed")
            )
    for name, days in ((f"meters of '{head.arm_from}'", base), (f"meters of '{head.arm_to}'", trial)):
        doubted = days.frame.filter(pl.col("doubt").is_not_null()).height
        share = doubted / days.frame.height if days.frame.height else 0.0
        rows.append((name, share <= MOST_DOUBTED_SHARE, f"{doubted} of {days.frame.height} days in weeks with a meter in doubt"))
    rows.append(("overlap of feed TS", True, _overlap_note(plan, base, trial)))
    rows += [_verified(plan, role) for role in plan.required_verified]
    rows += [(f"static factor: {s.name}", s.in_arm_from == s.in_arm_to, _same(s.in_arm_from, s.in_arm_to)) for s in plan.static_factors]
    return rows


def _whole_sets(evidence: Evidence) -> int:
    sides = [set(days.used["set_no"].drop_nulls().to_list()) for days in (evidence.baseline, evidence.trial)]
    return len(sides[0] & sides[1])


def _overlap_note(plan: Plan, base: Baseline, trial: Trial) -> str:
    """Return what share of days lies in the other arm's range, and what answers for the rest."""
    share = _overlap(base.used["feed_ts_pct"], trial.used["feed_ts_pct"])
    answer = {"control line": "the control line has the same sludge", "before/after": "days outside the common range are left out"}
    return (
        f"{100 * share:.0f} % of days within the other arm's range; {answer.get(plan.plan.design, 'the order within sets takes its place')}"
    )


def _overlap(one: pl.Series, other: pl.Series) -> float:
    """Return the lesser share of each arm's values within the range of the other's; 0 where an arm has none."""
    a, b = (np.asarray(s.drop_nulls().to_numpy(), dtype=float) for s in (one, other))
    if not len(a) or not len(b):
        return 0.0
    return min(_within(a, b), _within(b, a))


def _within(values: Array, frame: Array) -> float:
    low, high = frame.min(), frame.max()
    return float(((values >= low) & (values <= high)).mean())


def _verified(plan: Plan, role: str) -> tuple[str, bool, str]:
    found = [v for v in plan.verifications if v.role == role and v.at <= plan.plan.last_day]
    said = "; ".join(f"{v.at}, {v.method}, found error {v.found_error_pct:+.1f} %" for v in found)
    return (f"verification: {role}", bool(found), said or "no verification record")


def _same(one: str, other: str) -> str:
    return f"{one} in both arms" if one == other else f"changed: {one}, then {other}"


def left_out_counts(evidence: Evidence) -> list[tuple[str, int]]:
    """Return each rule with the number of days it left out, most first; transition days count as one rule."""
    frames = pl.concat([evidence.baseline.frame, evidence.trial.frame]).filter(pl.col("left_out").is_not_null())
    counted = frames.group_by("left_out").len().sort("len", "left_out", descending=[True, False])
    rows = [(str(r[0]), int(r[1])) for r in counted.iter_rows()]
    return ([("transition", evidence.transition.frame.height)] if evidence.transition.frame.height else []) + rows


def first_and_last(evidence: Evidence) -> tuple[date | None, date | None]:
    """Return the first and last day of all parts."""
    days = pl.concat([evidence.baseline.frame, evidence.transition.frame, evidence.trial.frame])["operating_day"]
    return (None, None) if days.is_empty() else (days.min(), days.max())  # type: ignore[return-value]
