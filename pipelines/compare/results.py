"""Each outcome of a plan: what answers it, whether other choices break it, and the method in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from pipelines.compare import of_days, of_ladder, of_money, of_shear, of_wear
from pipelines.compare.evidence import COUNTS
from pipelines.compare.outcomes import NOT_SHOWN, REFUSED, SHOWN, Outcome, saving_pct
from pipelines.compare.plan import IN_SETS, Plan
from pipelines.compare.sensitivity import Choice, breaks
from pipelines.compare.work import Work

ANSWERS: dict[str, Callable[[Work], list[Outcome]]] = {
    "iso-performance saving": of_ladder.iso_performance, "fed-dose saving": of_days.fed_dose, "cake": of_days.cake, "cake gain": of_days.cake_gain,
    "capture": of_days.capture, "filtrate": of_days.filtrate, "throughput": of_days.throughput, "mixing pressure drop": of_days.mixing,
    "all-in saving": of_money.all_in, "shear": of_shear.loss, "wear": of_wear.of_pumps,
}  # fmt: skip


def rests_on_days(plan: Plan, name: str, failed: list[str]) -> bool:
    """Return whether an outcome falls with the gates that failed: not wear, which compares no days, nor ladder steps when only whole sets of days are few."""
    if name == "wear":
        return False
    of_steps = name in ("iso-performance saving", "shear") or (name == "all-in saving" and plan.draw.dose_rule == "ladder")
    return not (of_steps and all(text.startswith(COUNTS[0]) for text in failed))


def robust(work: Work, outcome: Outcome, choices: list[Choice]) -> Outcome:
    """Write the choices as checks; return the outcome, "not robust" added to its reason where one breaks a shown saving."""
    if not choices or outcome.verdict == REFUSED:
        return outcome
    speaks = outcome.estimate is not None and outcome.estimate.low > 0.0
    broken = breaks(speaks, choices)
    for choice in choices:
        e = choice.estimate
        shown = e.mapped(saving_pct, "%", turns=True) if e is not None else None
        numbers = {} if shown is None else {"estimate": shown.value, "low": _known(shown.low), "high": _known(shown.high), "unit": "%"}
        work.check(
            "choice",
            choice.name,
            choice.note or "as planned otherwise",
            outcome=outcome.name,
            is_passed=None if e is None else choice.name not in broken,
            **numbers,
        )
    if speaks and broken:
        return replace(
            outcome,
            verdict=NOT_SHOWN if outcome.verdict == SHOWN else outcome.verdict,
            reason=f"{outcome.reason}; not robust: {'; '.join(broken)}",
        )
    return outcome


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


_METHODS = {
    "before/after": "Operating days before and after the change, transition left out. Interval: the widest of regression with autoregressive and white errors "
    "(REML, averaged over what the days leave open), equally weighted cosines, and sham switches where the history is long enough.",
    "control line": "Difference of the logarithms of the line and of an unchanged control line on the same days, before and after the change, transition left "
    "out. Interval: the widest of regression with autoregressive and white errors (REML, averaged), equally weighted cosines, and sham switches.",
}  # fmt: skip


def method_text(work: Work) -> str:
    """Return the method in one paragraph."""
    head, draw = work.loaded.plan.plan, work.loaded.plan.draw
    if head.design not in IN_SETS:
        return _METHODS[head.design]
    order = f"The order of arms in each set was drawn by seed {draw.seed}." if draw.is_drawn else "The order of arms was fixed, not drawn."
    return (
        f"{order} Differences of days: randomisation test over the possible orders, studentised, inverted for the interval. Saving at equal performance: one "
        "dose-response curve for both arms, shifted along the dose axis; interval by leaving out each set in turn, or from the curvature of the fit where that "
        "is wider."
    )
