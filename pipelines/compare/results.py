"""Each outcome of a plan: which number answers it, in which unit, and its verdict."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from pipelines.compare import differences, dose_curve, ladder, money, noninferiority, optimum, read, wear
from pipelines.compare.differences import Difference
from pipelines.compare.outcomes import NOT_SHOWN, REFUSED, SHOWN, WORSE, Estimate, Outcome, judged, refused, saving_pct
from pipelines.compare.plan import IN_SETS
from pipelines.compare.sensitivity import Choice, breaks
from pipelines.compare.work import Work

OF_LADDER = ("iso-performance saving",)
GATE = noninferiority.GATE_LEVEL
TRIMMED = "the operators trim the dose within an arm's block: a fed-dose saving needs a ladder or a fixed rule, or long periods"


def of(work: Work, name: str) -> list[Outcome]:
    """Return the outcomes of one name of the plan."""
    made = {
        "iso-performance saving": _iso, "fed-dose saving": _fed, "cake": _cake, "capture": _capture, "filtrate": _filtrate,
        "throughput": _throughput, "mixing pressure drop": _mixing, "all-in saving": _money, "shear": _shear, "wear": _wear,
    }  # fmt: skip
    return made[name](work)


def _iso(work: Work) -> list[Outcome]:
    name, found, plan = "iso-performance saving", work.ladder, work.loaded.plan
    if found.steps is None or found.curve is None:
        return [refused(name, found.refusal or "no ladder")]
    asked = plan.performance
    statistic = dose_curve.ln_dose_ratio(asked.cake_pct, asked.capture_pct)
    estimate = ladder.estimate(found.steps, found.curve, statistic)
    _curve_checks(work)
    _optimum_checks(work)
    if estimate is None:
        return [refused(name, "an arm does not reach the cake and capture asked for at any dose, with one set or another left out")]
    estimate = _systematic(work, estimate).mapped(saving_pct, "%", turns=True)
    gain = ladder.estimate(found.steps, found.curve, dose_curve.cake_gain(asked.cake_pct, asked.capture_pct), GATE)
    outcomes = [judged(name, estimate, work.caps + ladder.caps(found, plan))]
    if gain is not None:
        outcomes.append(_gate(work, "cake at the dose needed", replace(gain, unit="% TS"), plan.margins.cake_pct))
    return outcomes


def _curve_checks(work: Work) -> None:
    assert work.ladder.steps is not None
    assert work.ladder.curve is not None
    steps, curve, plan = work.ladder.steps, work.ladder.curve, work.loaded.plan
    potency = ladder.estimate(steps, curve, dose_curve.ln_dose_ratio())
    if potency is not None:
        shown = potency.mapped(saving_pct, "%", turns=True)
        work.check(
            "curve",
            "saving by relative potency",
            "as if capture alone set the dose",
            estimate=shown.value,
            low=shown.low,
            high=shown.high,
            unit="%",
        )
    for arm, what in ladder.binding(curve, plan).items():
        work.check("curve", f"sets the dose of '{arm}'", what)
    p = dose_curve.parallelism_p(steps)
    work.check("curve", "parallelism", f"p = {p:.3f} of one shape in both arms", estimate=p, is_passed=p >= 0.05)
    for flag, name in ((0.0, plan.plan.arm_from), (1.0, plan.plan.arm_to)):
        reached = dose_curve.reaches_plateau(steps, curve, flag)
        work.check(
            "curve", f"plateau of '{name}'", "reached" if reached else "not reached: cake gain and potency do not part", is_passed=reached
        )
    f, sd = float(curve.parameters[dose_curve.F]), dose_curve.model_error(steps, curve, lambda p: p[:, dose_curve.F])
    work.check("curve", "cake gain at equal relative dose", "points", estimate=f, low=f - 2 * sd, high=f + 2 * sd, unit="% TS")
    for arm_no, name in ((0.0, plan.plan.arm_from), (1.0, plan.plan.arm_to)):
        span = steps.dose[steps.arm == arm_no]
        for dose in np.linspace(span.min(), span.max(), 12):
            at = np.array([dose])
            work.check(
                "curve",
                f"capture of '{name}'",
                f"at {dose:.3f} kg/t",
                estimate=float(curve.capture(at, arm_no)[0]),
                low=float(dose),
                unit="%",
            )
            work.check(
                "curve", f"cake of '{name}'", f"at {dose:.3f} kg/t", estimate=float(curve.cake(at, arm_no)[0]), low=float(dose), unit="% TS"
            )


def _optimum_checks(work: Work) -> None:
    """Note the dose of least cost of each arm at the plan's prices, with its interval."""
    plan = work.loaded.plan
    assert work.ladder.steps is not None
    assert work.ladder.curve is not None
    found = read.prices(work.store, plan.plan.line, plan.money.price_day) if plan.money else None
    if found is None:
        return
    prices = money.Prices(found["polymer_per_kg"], found["disposal_per_wet_t"], found["recycle_per_kg"])
    for arm, name in ((0.0, plan.plan.arm_from), (1.0, plan.plan.arm_to)):
        best, low, high = optimum.interval(work.ladder.steps, work.ladder.curve, arm, prices, plan.draw.seed)
        own = work.ladder.steps.dose[work.ladder.steps.arm == arm]
        at_end = best >= 0.99 * own.max() or best <= 1.01 * own.min()
        note = "at an end of the ladder: the optimum may lie beyond" if at_end else "dose of least cost at the plan's prices"
        work.check("curve", f"optimum dose, {name}", note, estimate=best, low=low, high=high, unit="kg/t", is_passed=not at_end)


def _systematic(work: Work, estimate: Estimate) -> Estimate:
    """Add the systematic part of the dose where other instruments served an arm."""
    plan = work.loaded.plan
    return estimate if plan.same_instruments else estimate.widened(plan.systematic_pct / 100.0)


def _difference(work: Work, value: str, *, is_ln: bool, level: float = 0.95) -> Difference | None:
    plan, past = work.loaded.plan, None
    if plan.plan.design == "before/after":
        past = read.history(work.store, plan.plan.line, plan.plan.arm_from, plan.plan.first_day)
    return differences.of(plan, work.evidence, value, is_ln=is_ln, level=level, past=past)


def _fed(work: Work) -> list[Outcome]:
    name, plan = "fed-dose saving", work.loaded.plan
    if plan.plan.design in IN_SETS and plan.draw.dose_rule == "operators":
        return [refused(name, TRIMMED)]
    found = _difference(work, "dose_active_kg_t", is_ln=True)
    if found is None:
        return [refused(name, differences.TOO_FEW.format(differences.LEAST_EACH))]
    for method, value, low, high, note in found.others:
        e = Estimate(value, low, high, "-", 95.0, method, 0, 0).mapped(saving_pct, "%", turns=True) if "per 30 days" not in method else None
        numbers = {"estimate": e.value, "low": e.low, "high": e.high, "unit": "%"} if e else {"estimate": value, "low": low, "high": high}
        work.check("method", method, note, outcome=name, **numbers)
    _raw(work)
    return [judged(name, _systematic(work, found.estimate).mapped(saving_pct, "%", turns=True), work.caps + found.caps)]


def _raw(work: Work) -> None:
    """Note the ratio of totals of both arms: the figure not to quote, since days and trimming differ."""
    doses = []
    for days in (work.evidence.baseline.used, work.evidence.trial.used):
        active, solids = (float(days[c].to_numpy().astype(float).sum()) for c in ("polymer_active_kg", "dry_solids_t"))
        doses.append(active / solids)
    work.check(
        "method", "raw ratio of totals", "what not to say: no adjustment, no interval", outcome="fed-dose saving",
        estimate=100.0 * (1.0 - doses[1] / doses[0]), unit="%",
    )  # fmt: skip


def _gate(work: Work, name: str, e: Estimate, margin: float) -> Outcome:
    gate = noninferiority.not_lower(name, e.value, e.low, e.high, margin, e.unit)
    if gate.is_passed and not work.caps:
        return Outcome(name, e, SHOWN, f"not lower than the margin: {gate.reason}")
    if gate.is_passed:
        return Outcome(name, e, NOT_SHOWN, f"{gate.reason}; not shown: {'; '.join(work.caps)}")
    return Outcome(name, e, WORSE if gate.is_worse else NOT_SHOWN, gate.reason)


def _level(work: Work, name: str, value: str, unit: str, margin: float) -> list[Outcome]:
    found = _difference(work, value, is_ln=False, level=GATE)
    if found is None:
        return [refused(name, differences.TOO_FEW.format(differences.LEAST_EACH))]
    return [_capped(_gate(work, name, replace(found.estimate, unit=unit), margin), found.caps)]


def _capped(outcome: Outcome, caps: tuple[str, ...]) -> Outcome:
    return (
        replace(outcome, verdict=NOT_SHOWN, reason=f"{outcome.reason}; not shown: {'; '.join(caps)}")
        if caps and outcome.verdict == SHOWN
        else outcome
    )


def _cake(work: Work) -> list[Outcome]:
    return _level(work, "cake", "cake_ts_pct", "% TS", work.loaded.plan.margins.cake_pct)


def _capture(work: Work) -> list[Outcome]:
    return _level(work, "capture", "capture_pct", "%", work.loaded.plan.margins.capture_pct)


def _filtrate(work: Work) -> list[Outcome]:
    name = "filtrate"
    found = _difference(work, "filtrate_tss_mg_l", is_ln=True, level=GATE)
    if found is None:
        return [refused(name, differences.TOO_FEW.format(differences.LEAST_EACH))]
    e = found.estimate
    gate = noninferiority.not_higher_ratio(name, e.value, e.low, e.high, work.loaded.plan.margins.filtrate_ratio)
    shown = e.mapped(np.exp, "ratio")
    verdict = SHOWN if gate.is_passed and not work.caps else WORSE if gate.is_worse and not gate.is_passed else NOT_SHOWN
    return [_capped(Outcome(name, shown, verdict, gate.reason), work.caps + found.caps)]


def _throughput(work: Work) -> list[Outcome]:
    name = "throughput"
    found = _difference(work, "throughput_t_h", is_ln=True, level=GATE)
    if found is None:
        return [refused(name, differences.TOO_FEW.format(differences.LEAST_EACH))]
    percent = found.estimate.mapped(lambda v: 100.0 * np.expm1(v), "%")
    return [_capped(_gate(work, name, percent, 100.0 * work.loaded.plan.margins.throughput_share), found.caps)]


def _mixing(work: Work) -> list[Outcome]:
    name = "mixing pressure drop"
    found = _difference(work, "mixing_dp_ref_kpa", is_ln=False)
    if found is None:
        return [refused(name, differences.TOO_FEW.format(differences.LEAST_EACH))]
    head = work.loaded.plan.plan
    for label, days in ((head.arm_from, work.evidence.baseline.used), (head.arm_to, work.evidence.trial.used)):
        level = days["mixing_dp_ref_kpa"].mean()
        work.check(
            "method", f"mixing pressure drop of '{label}'", "mean of days at the reference flow", outcome=name, estimate=level, unit="kPa"
        )
    return [judged(name, replace(found.estimate, unit="kPa"), work.caps + found.caps, better_is_up=False)]


def _money(work: Work) -> list[Outcome]:
    """Judge the all-in saving per tonne: each arm at its own mean point, polymer, cake and capture together day by day."""
    name, plan = "all-in saving", work.loaded.plan
    if plan.money is None:
        return [refused(name, "the plan has no [money] block")]
    found = read.prices(work.store, plan.plan.line, plan.money.price_day)
    if found is None:
        return [refused(name, f"no price of polymer and disposal on {plan.money.price_day}")]
    prices = money.Prices(found["polymer_per_kg"], found["disposal_per_wet_t"], found["recycle_per_kg"], found["power_per_kwh"])
    priced = replace(
        work.evidence,
        **{
            part: type(getattr(work.evidence, part))(_with_cost(getattr(work.evidence, part).frame, prices))
            for part in ("baseline", "trial")
        },
    )
    if priced.control is not None:
        priced = replace(priced, control=type(priced.control)(_with_cost(priced.control.frame, prices)))
    difference = differences.of(plan, priced, "cost_per_t", is_ln=False)
    if difference is None:
        return [refused(name, differences.TOO_FEW.format(differences.LEAST_EACH) + " (dose, cake and capture together)")]
    currency = f"{found['currency']}/t"
    saved = replace(
        difference.estimate, value=-difference.estimate.value, low=-difference.estimate.high, high=-difference.estimate.low, unit=currency
    )
    _money_checks(work, priced, prices, saved)
    return [judged(name, saved, work.caps + difference.caps)]


def _with_cost(days: pl.DataFrame, prices: money.Prices) -> pl.DataFrame:
    cost = prices.polymer_per_kg * pl.col("dose_active_kg_t") + prices.disposal_per_wet_t * pl.col("capture_pct") / pl.col("cake_ts_pct")
    if prices.recycle_per_kg is not None:
        cost = cost + prices.recycle_per_kg * 1000.0 * (1.0 - pl.col("capture_pct") / 100.0)
    if prices.power_per_kwh is not None:
        cost = cost + prices.power_per_kwh * pl.col("energy_kwh_t").cast(pl.Float64).fill_null(0.0)
    return days.with_columns(cost_per_t=cost)


def _money_checks(work: Work, priced: object, prices: money.Prices, saved: Estimate) -> None:
    plan = work.loaded.plan
    assert plan.money is not None
    points = []
    for days in (work.evidence.baseline.used, work.evidence.trial.used):
        whole = days.filter(pl.col("cake_ts_pct").is_not_null(), pl.col("capture_pct").is_not_null())
        mean = [
            float(np.nanmean(whole[c].cast(pl.Float64).fill_null(0.0).to_numpy()))
            for c in ("dose_active_kg_t", "cake_ts_pct", "capture_pct", "energy_kwh_t")
        ]
        points.append(money.Point(*mean))
    del priced
    for part, value in money.saving_per_t(points[0], points[1], prices).items():
        work.check("money", part, "mean points of the arms, unadjusted", outcome="all-in saving", estimate=float(value), unit=saved.unit)
    yearly = money.annual((saved.value, saved.low, saved.high), plan.money.annual_dry_solids_t, plan.money.annual_new_cost)
    work.check(
        "money",
        "annual saving",
        "interval of the saving times the range of dry solids",
        estimate=yearly[0],
        low=yearly[1],
        high=yearly[2],
        unit=saved.unit.replace("/t", "/year"),
    )
    if plan.money.installed_cost is not None:
        short, long = money.payback_years(plan.money.installed_cost, yearly)
        text = f"{short:.1f} to {long:.1f} years" if np.isfinite(long) else "no payback can be promised: the saving may be none"
        work.check(
            "money",
            "simple payback",
            text,
            low=short if np.isfinite(short) else None,
            high=long if np.isfinite(long) else None,
            unit="years",
        )


def _shear(work: Work) -> list[Outcome]:
    from pipelines.compare import shear

    name = "apparent conditioning loss"
    for caveat in shear.CAVEATS:
        work.check("caveat", "shear", caveat)
    days = work.evidence.both().filter(pl.col("mixing_work_kj_m3").is_not_null())
    if days.height < 2 * differences.LEAST_EACH:
        return [refused(name, "no days with mixing energy")]
    others = np.column_stack([np.log(days["feed_ts_pct"].fill_null(strategy="mean").to_numpy())])
    sets = days["set_no"].fill_null(0).to_numpy() if plan_in_sets(work) else days["is_after"].to_numpy()
    found = shear.log_linear(
        days["mixing_work_kj_m3"].to_numpy(), np.log(days["dose_active_kg_t"].to_numpy()), others, sets, is_randomised=False
    )
    work.check(
        "shear",
        "variance inflation of mixing energy",
        "at most 5",
        estimate=found.inflation,
        is_passed=found.inflation <= shear.LARGEST_INFLATION,
    )
    if found.refusal is not None:
        return [refused(name, found.refusal)]
    estimate = Estimate(
        100.0 * found.kappa_per_kpa,
        100.0 * found.low,
        100.0 * found.high,
        "% per kPa",
        95.0,
        "within sets, sandwich over sets",
        days.height,
        0,
    )
    return [judged(name, estimate, (*work.caps, "association: not from steps in random order"))]


def _wear(work: Work) -> list[Outcome]:
    """Judge the wear of the line's pump since its last reference: a loss measured is "worse"; none resolved is "not shown", never "no wear"."""
    name, weeks = "wear of the pump", read.pumps(work.store, work.loaded.plan.plan.line)
    weeks = weeks.filter(pl.col("reference_day").is_not_null()).filter(pl.col("reference_day") == pl.col("reference_day").max())
    weeks = weeks.with_columns(index=pl.coalesce("wear_index", "slip_index")).filter(pl.col("index").is_not_null())
    years = np.array([d.toordinal() for d in weeks["week_start_day"].to_list()], dtype=float) / 365.25
    found = wear.trend(years, weeks["index"].to_numpy().astype(float), growth_is_loss=weeks["slip_index"].is_not_null().any())
    if found.refusal is not None:
        return [refused(name, found.refusal)]
    estimate = Estimate(found.loss_pct_year, found.low, found.high, "%/year", 95.0, "trend, drift of meters added", 0, 7 * found.weeks)
    return [Outcome(name, estimate, WORSE if found.low > 0.0 else NOT_SHOWN, found.sentence)]


def plan_in_sets(work: Work) -> bool:
    """Tell whether the plan's design has sets."""
    return work.loaded.plan.plan.design in IN_SETS


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
            is_passed=choice.name not in broken,
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
