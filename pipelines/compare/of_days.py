"""Outcomes that compare days: fed dose, cake, capture, filtrate, throughput, mixing pressure drop."""

from __future__ import annotations

from dataclasses import replace

from pipelines.compare import differences, noninferiority
from pipelines.compare.differences import Difference
from pipelines.compare.outcomes import NOT_SHOWN, SHOWN, WORSE, Estimate, Outcome, judged, refused
from pipelines.compare.plan import IN_SETS
from pipelines.compare.values import OF_OUTCOME
from pipelines.compare.work import Work

GATE = noninferiority.GATE_LEVEL
DOSE_IS_SET = {
    "operators": "the operators trim the dose within an arm's block: a fed-dose saving needs a fixed rule, or long periods",
    "ladder": "the ladder sets the dose of both arms: the saving at equal performance answers; a fed-dose saving needs a fixed rule",
}


def difference(work: Work, name: str, level: float = 0.95) -> Difference | None:
    """Return the difference of arms in the value of an outcome, by the method of the design; None: too few days or sets."""
    plan, value, evidence, past = work.loaded.plan, OF_OUTCOME[name], work.evidence, work.past
    if name == "mixing pressure drop":  # a quantity of the line's own pipes: the control line adds only its noise
        evidence = replace(evidence, control=None)
    return differences.of(plan, evidence, value.column, is_ln=value.is_ln, level=level, past=past)


def too_few(work: Work, more: str = "") -> str:
    """Return the words for a value that too few days have."""
    return (differences.TOO_FEW_SETS if work.loaded.plan.plan.design in IN_SETS else differences.TOO_FEW) + more


def dose_is_set(work: Work) -> str | None:
    """Return why the fed dose of a switching design answers nothing; None: it does."""
    plan = work.loaded.plan
    return DOSE_IS_SET.get(plan.draw.dose_rule) if plan.plan.design in IN_SETS else None


def systematic(work: Work, estimate: Estimate) -> Estimate:
    """Add the systematic part of the dose where other instruments served an arm."""
    plan = work.loaded.plan
    return estimate if plan.same_instruments else estimate.widened(plan.systematic_pct / 100.0)


def fed_dose(work: Work) -> list[Outcome]:
    """Judge the saving of the dose as fed."""
    name = "fed-dose saving"
    _raw(work)
    why = dose_is_set(work)
    if why is not None:
        return [refused(name, why)]
    found = difference(work, name)
    if found is None:
        return [refused(name, too_few(work))]
    value = OF_OUTCOME[name]
    for method, estimate, low, high, note in found.others:
        e = value.of(Estimate(estimate, low, high, "-", 95.0, method, 0, 0)) if "per 30 days" not in method else None
        numbers = (
            {"estimate": e.value, "low": e.low, "high": e.high, "unit": "%"} if e else {"estimate": estimate, "low": low, "high": high}
        )
        work.check("method", method, note, outcome=name, **numbers)
    return [judged(name, value.of(systematic(work, found.estimate)), work.caps + found.caps)]


def _raw(work: Work) -> None:
    """Note the ratio of totals of both arms: the figure not to quote, since days, sludge and trimming differ."""
    doses = []
    for days in (work.evidence.baseline.used, work.evidence.trial.used):
        active, solids = (float(days[c].to_numpy().astype(float).sum()) for c in ("polymer_active_kg", "dry_solids_t"))
        if active <= 0.0 or solids <= 0.0:
            return
        doses.append(active / solids)
    work.check(
        "raw", "ratio of totals of all days", "no adjustment, no interval", outcome="fed-dose saving", estimate=100.0 * (1.0 - doses[1] / doses[0]),
        unit="%",
    )  # fmt: skip


def gate(work: Work, name: str, e: Estimate, margin: float) -> Outcome:
    """Judge "not lower by more than the margin", capped by what caps the plan."""
    found = noninferiority.not_lower(name, e.value, e.low, e.high, margin, e.unit)
    if found.is_passed and not work.caps:
        return Outcome(name, e, SHOWN, f"not lower than the margin: {found.reason}")
    if found.is_passed:
        return Outcome(name, e, NOT_SHOWN, f"{found.reason}; not shown: {'; '.join(work.caps)}")
    return Outcome(name, e, WORSE if found.is_worse else NOT_SHOWN, found.reason)


def _level(work: Work, name: str, margin: float) -> list[Outcome]:
    found = difference(work, name, GATE)
    if found is None:
        return [refused(name, too_few(work))]
    return [_capped(gate(work, name, OF_OUTCOME[name].of(found.estimate), margin), found.caps)]


def _capped(outcome: Outcome, caps: tuple[str, ...]) -> Outcome:
    if caps and outcome.verdict == SHOWN:
        return replace(outcome, verdict=NOT_SHOWN, reason=f"{outcome.reason}; not shown: {'; '.join(caps)}")
    return outcome


def cake(work: Work) -> list[Outcome]:
    """Judge whether the cake is not wetter by more than the margin."""
    return _level(work, "cake", work.loaded.plan.margins.cake_pct)


def cake_gain(work: Work) -> list[Outcome]:
    """Judge whether the cake is drier: a claim of its own, since "not wetter" does not show it."""
    found = difference(work, "cake")
    if found is None:
        return [refused("cake gain", too_few(work))]
    return [judged("cake gain", OF_OUTCOME["cake"].of(found.estimate), work.caps + found.caps)]


def capture(work: Work) -> list[Outcome]:
    """Judge whether the capture is not lower by more than the margin."""
    return _level(work, "capture", work.loaded.plan.margins.capture_pct)


def filtrate(work: Work) -> list[Outcome]:
    """Judge whether the suspended solids of the filtrate are not higher by more than the ratio allowed."""
    name = "filtrate"
    found = difference(work, name, GATE)
    if found is None:
        return [refused(name, too_few(work))]
    e = found.estimate
    passing = noninferiority.not_higher_ratio(name, e.value, e.low, e.high, work.loaded.plan.margins.filtrate_ratio)
    verdict = SHOWN if passing.is_passed and not work.caps else WORSE if passing.is_worse and not passing.is_passed else NOT_SHOWN
    return [_capped(Outcome(name, OF_OUTCOME[name].of(e), verdict, passing.reason), work.caps + found.caps)]


def throughput(work: Work) -> list[Outcome]:
    """Judge whether the throughput is not lower by more than the margin."""
    return _level(work, "throughput", 100.0 * work.loaded.plan.margins.throughput_share)


def mixing(work: Work) -> list[Outcome]:
    """Judge the change of the mixing pressure drop at the reference flow."""
    name = "mixing pressure drop"
    found = difference(work, name)
    if found is None:
        return [refused(name, too_few(work))]
    head = work.loaded.plan.plan
    for label, days in ((head.arm_from, work.evidence.baseline.used), (head.arm_to, work.evidence.trial.used)):
        level = days["mixing_dp_ref_kpa"].mean()
        work.check(
            "method", f"mixing pressure drop of '{label}'", "mean of days at the reference flow", outcome=name, estimate=level, unit="kPa"
        )
    return [judged(name, OF_OUTCOME[name].of(found.estimate), work.caps + found.caps, better_is_up=False)]
