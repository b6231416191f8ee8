"""Saving at equal performance from the dose curve of the plan's ladder, and the checks behind it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipelines.compare import dose_curve, ladder, of_days, of_money, optimum
from pipelines.compare.outcomes import Outcome, judged, refused, saving_pct
from pipelines.compare.work import Work

NAME = "iso-performance saving"
_CURVE_POINTS = 12  # drawn of each curve


def iso_performance(work: Work) -> list[Outcome]:
    """Judge the saving at equal performance, and the cake at the dose each arm then needs."""
    found, plan = work.ladder, work.loaded.plan
    _raw(work)
    if found.steps is None or found.curve is None:
        return [refused(NAME, found.refusal or "no ladder")]
    asked = plan.performance
    estimate = ladder.estimate(found.steps, found.curve, dose_curve.ln_dose_ratio(asked.cake_pct, asked.capture_pct))
    _curve_checks(work)
    _optimum_checks(work)
    if estimate is None:
        return [refused(NAME, ladder.OUT_OF_REACH)]
    estimate = of_days.systematic(work, estimate).mapped(saving_pct, "%", turns=True)
    gain = ladder.estimate(found.steps, found.curve, dose_curve.cake_gain(asked.cake_pct, asked.capture_pct), of_days.GATE)
    outcomes = [judged(NAME, estimate, work.caps + ladder.caps(found, plan))]
    if gain is not None:
        outcomes.append(of_days.gate(work, "cake at the dose needed", replace(gain, unit="% TS"), plan.margins.cake_pct))
    return outcomes


def _raw(work: Work) -> None:
    """Note the figures not to quote: the mean dose of the steps of each arm, whatever they gave."""
    used = work.ladder.used
    means = [used.filter(used["is_after"] == arm)["dose_active_kg_t"].mean() for arm in (0.0, 1.0)]
    if isinstance(means[0], float) and isinstance(means[1], float) and means[0] > 0.0:
        work.check(
            "raw", "mean dose of the ladder's steps", "the ladder was set, not needed", outcome=NAME, estimate=100.0 * (1.0 - means[1] / means[0]), unit="%",
        )  # fmt: skip


def _curve_checks(work: Work) -> None:
    assert work.ladder.steps is not None
    assert work.ladder.curve is not None
    steps, curve, plan = work.ladder.steps, work.ladder.curve, work.loaded.plan
    potency = ladder.estimate(steps, curve, dose_curve.ln_dose_ratio())
    if potency is not None:
        e = potency.mapped(saving_pct, "%", turns=True)
        work.check(
            "curve", "saving by relative potency", "as if capture alone set the dose", estimate=e.value, low=e.low, high=e.high, unit="%"
        )
    for arm, what in ladder.binding(curve, plan).items():
        work.check("curve", f"sets the dose of '{arm}'", what)
    p = dose_curve.parallelism_p(steps)
    work.check("curve", "parallelism", f"p = {p:.3f} of one shape in both arms", estimate=p, is_passed=p >= dose_curve.NOT_PARALLEL_P)
    for flag, name in ((0.0, plan.plan.arm_from), (1.0, plan.plan.arm_to)):
        reached = dose_curve.reaches_plateau(steps, curve, flag)
        work.check(
            "curve", f"plateau of '{name}'", "reached" if reached else "not reached: cake gain and potency do not part", is_passed=reached
        )
    f, sd = float(curve.parameters[dose_curve.F]), dose_curve.model_error(steps, curve, lambda p: p[:, dose_curve.F])
    work.check("curve", "cake gain at equal relative dose", "points", estimate=f, low=f - 2 * sd, high=f + 2 * sd, unit="% TS")
    for flag, name in ((0.0, plan.plan.arm_from), (1.0, plan.plan.arm_to)):
        _drawn(work, flag, name)


def _drawn(work: Work, arm: float, name: str) -> None:
    """Note points of the fitted curves of an arm, for the figure: dose as `low`."""
    assert work.ladder.steps is not None
    assert work.ladder.curve is not None
    curve, own = work.ladder.curve, work.ladder.steps.dose[work.ladder.steps.arm == arm]
    for dose in np.linspace(own.min(), own.max(), _CURVE_POINTS):
        at, note = np.array([dose]), f"at {dose:.3f} kg/t"
        work.check("curve", f"capture of '{name}'", note, estimate=float(curve.capture(at, arm)[0]), low=float(dose), unit="%")
        work.check("curve", f"cake of '{name}'", note, estimate=float(curve.cake(at, arm)[0]), low=float(dose), unit="% TS")


def _optimum_checks(work: Work) -> None:
    """Note the dose of least cost of each arm at the plan's prices, with its interval, and how far the present dose lies above it."""
    plan, found = work.loaded.plan, of_money.prices_of(work.store, work.loaded.plan)
    assert work.ladder.steps is not None
    assert work.ladder.curve is not None
    if found is None:
        return
    prices = replace(found[0], power_per_kwh=None)  # a ladder does not carry power
    for arm, name in ((0.0, plan.plan.arm_from), (1.0, plan.plan.arm_to)):
        best, low, high = optimum.interval(work.ladder.steps, work.ladder.curve, arm, prices, plan.draw.seed)
        own = work.ladder.steps.dose[work.ladder.steps.arm == arm]
        at_end = best >= 0.99 * own.max() or best <= 1.01 * own.min()
        note = "at an end of the ladder: the optimum may lie beyond" if at_end else "dose of least cost at the plan's prices"
        work.check("curve", f"optimum dose, {name}", note, estimate=best, low=low, high=high, unit="kg/t", is_passed=not at_end)
        usual = work.usual_dose_kg_t(name)
        if usual is not None and not at_end:
            margins = [optimum.overfeed_margin_pct(usual, dose) for dose in (best, high, low)]
            work.check(
                "curve", f"overfeed margin, {name}", f"usual dose {usual:.2f} kg/t outside the ladder against the optimum", estimate=margins[0],
                low=margins[1], high=margins[2], unit="%",
            )  # fmt: skip
