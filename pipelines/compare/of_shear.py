"""Apparent conditioning loss against mixing energy, as an outcome: from ladder steps at several mixing energies, else from days, else refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from pipelines.compare import differences, dose_curve, ladder, shear
from pipelines.compare.gls import Array
from pipelines.compare.outcomes import Estimate, Outcome, judged, refused
from pipelines.compare.work import Work

NAME = "apparent conditioning loss"
UNIT = "% per kPa"


def loss(work: Work) -> list[Outcome]:
    """Judge the apparent conditioning loss per kPa of mixing pressure drop; positive: mixing costs polymer. Both signs are reported."""
    for caveat in shear.CAVEATS:
        work.check("caveat", "shear", caveat)
    if work.ladder.steps is not None:
        energy = ladder.floats(work.ladder.used, "mixing_energy_kj_m3")
        if np.isfinite(energy).sum() >= 2 * differences.LEAST_EACH:
            return [_of_steps(work, work.ladder.steps, energy)]
    return [_of_days(work)]


def _of_steps(work: Work, steps: dose_curve.Steps, energy: Array) -> Outcome:
    """Judge kappa of the dose curve with energy beside the arm: M3; M2 and the share of the arm's effect are noted."""
    known = np.isfinite(energy)
    found = shear.of_steps(steps.kept(known), energy[known])
    work.check(
        "shear", "variance inflation of mixing energy by the arm", f"at most {shear.LARGEST_INFLATION:.0f}", estimate=found.inflation,
        is_passed=found.inflation <= shear.LARGEST_INFLATION,
    )  # fmt: skip
    if found.bound is not None:
        work.check(
            "shear", "if all of the arm's effect were mixing energy", "a bound, not a finding", estimate=100.0 * found.bound, unit=UNIT
        )
    if found.refusal is not None or found.kappa is None:
        return refused(NAME, found.refusal or ladder.OUT_OF_REACH)
    if found.mediated_share is not None:
        work.check(
            "shear",
            "share of the saving that mixing energy explains",
            "kappa x change of energy / ln saving",
            estimate=100.0 * found.mediated_share,
            unit="%",
        )
    if found.optimum_kpa is not None:
        work.check(
            "shear",
            "energy of most effect (U-shape)",
            "fits better than a straight line: too little mixing wastes polymer too",
            estimate=found.optimum_kpa,
            unit="kPa",
        )
    caps = work.caps if work.loaded.plan.draw.is_drawn else (*work.caps, "association: the steps were not in drawn order")
    estimate = found.kappa.mapped(lambda v: 100.0 * v, UNIT)
    return replace(judged(NAME, estimate, caps), reason=_said(estimate, caps))


def _said(e: Estimate, caps: tuple[str, ...]) -> str:
    said = (
        "more mixing costs polymer"
        if e.low > 0.0
        else "more mixing saves polymer"
        if e.high < 0.0
        else "neither loss nor gain is told apart from none"
    )
    return "; ".join([said, *caps])


def _of_days(work: Work) -> Outcome:
    days = work.evidence.both().filter(pl.col("mixing_work_kj_m3").is_not_null())
    if days.height < 2 * differences.LEAST_EACH:
        return refused(NAME, "no days with mixing energy")
    others = np.column_stack([np.log(days["feed_ts_pct"].fill_null(strategy="mean").to_numpy()), days["is_after"].to_numpy()])
    in_sets = bool(work.loaded.plan.sets)
    sets = days["set_no"].fill_null(0).to_numpy() if in_sets else days["operating_day"].dt.truncate("1w").to_physical().to_numpy()
    found = shear.log_linear(
        days["mixing_work_kj_m3"].to_numpy(), np.log(days["dose_active_kg_t"].to_numpy()), others, sets, is_randomised=False
    )
    work.check(
        "shear", "variance inflation of mixing energy", f"at most {shear.LARGEST_INFLATION:.0f}", estimate=found.inflation,
        is_passed=found.inflation <= shear.LARGEST_INFLATION,
    )  # fmt: skip
    if found.refusal is not None:
        return refused(NAME, found.refusal)
    value, low, high = (100.0 * v for v in (found.kappa_per_kpa, found.low, found.high))
    estimate = Estimate(value, low, high, UNIT, 95.0, "days within weeks or sets, sandwich", days.height, 0)
    return judged(NAME, estimate, (*work.caps, "association: not from steps in drawn order"))
