"""Apparent conditioning loss against specific mixing energy: extra dose needed for the same cake and capture, not "destroyed polymer".

M1: ln dose needed = ln D + kappa e. M2: effectiveness (1 - exp(-e / e_m)) exp(-e / e_b), a U-shape. M3: the dose curve with kappa e in the place of the
arm, and the arm beside it: what of the arm's effect does e explain. e is the mixing pressure drop [kJ/m3 = kPa]. Both signs are reported. Where energy
changes with the arm only, the two cannot be told apart: no number, but the bound if all of the effect were mixing energy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.compare import dose_curve, ladder
from pipelines.compare.dose_curve import KAPPA, LN_BETA, LN_R0, LN_R1, SHAPES, THETA, F, Steps
from pipelines.compare.gls import Array, ordinary
from pipelines.compare.outcomes import Estimate

LARGEST_INFLATION = 5.0  # variance inflation of e by flow and solids: above, e cannot be told from them
WIDEST_SHARE = 0.5  # an interval that holds 0 and is wider than this share of the estimate on each side gives no number
LEAST_SETS = 4  # within which energies compare
BETTER_SHARE = 0.9  # the U-shape counts where its misfit is at most so much of the straight line's
LEAST_SPAN_KPA = 35.0  # 5 psi between lowest and highest energy
CAVEATS = (
    "Association; cause is shown only for steps run in random order.",
    "Operators open the valve when sludge is bad: reverse causation.",
    "Mixing pressure drop and flow move together; thick sludge raises the pressure drop by itself.",
    "Overfed steps lie on the plateau and carry no information.",
    "Cake and capture can give different losses; nothing is said below the lowest energy tested.",
    "One polymer chemistry; a plugged gauge makes the pressure drop flat.",
)


@dataclass(frozen=True)
class LogLinear:
    """M1: kappa per kPa with its interval; `refusal` names the rule when it is no number to use."""

    kappa_per_kpa: float
    low: float
    high: float
    inflation: float
    refusal: str | None

    def loss_share(self, kpa: float) -> float:
        """Return the apparent share of the dose lost at an energy: 1 - exp(-kappa e)."""
        return float(1.0 - np.exp(-self.kappa_per_kpa * kpa))


def log_linear(energy_kpa: Array, ln_dose: Array, others: Array | None, sets: Array, *, is_randomised: bool) -> LogLinear:
    """Return kappa from steps or days: `ln_dose` needed for equal performance, `others` n x k (ln flow, ln TS), `sets` within which levels compare."""
    from scipy import stats

    names = np.unique(sets)
    columns = [energy_kpa, *(others.T if others is not None else ())]
    inside = [_within(c, sets) for c in columns]
    x, y = np.column_stack(inside), _within(ln_dose, sets)
    beta, _, _ = ordinary(x, y)
    scores = x * (y - x @ beta)[:, None]
    bread = np.linalg.inv(x.T @ x)
    clusters = np.stack([scores[sets == k].sum(0) for k in names])
    freedom = len(names) - 1
    meat = clusters.T @ clusters * len(names) / max(freedom, 1)
    half = float(stats.t.ppf(0.975, max(freedom, 1)) * np.sqrt((bread @ meat @ bread)[0, 0]))
    inflation = _inflation(x)
    kappa = float(beta[0])
    return LogLinear(
        kappa, kappa - half, kappa + half, inflation, _refusal(energy_kpa, kappa, half, inflation, freedom, is_randomised=is_randomised)
    )


def _within(values: Array, sets: Array | dose_curve.Ints) -> Array:
    _, at = np.unique(sets, return_inverse=True)
    return np.asarray(values - (np.bincount(at, values) / np.bincount(at))[at])


def _inflation(x: Array) -> float:
    """Return the variance inflation factor of the first column by the others: 1 / (1 - R2)."""
    if x.shape[1] == 1:
        return 1.0
    rest = x[:, 1:]
    gap = x[:, 0] - rest @ np.linalg.lstsq(rest, x[:, 0], rcond=None)[0]
    return float((x[:, 0] ** 2).sum() / max(float((gap**2).sum()), 1e-300))


def _refusal(energy: Array, kappa: float, half: float, inflation: float, freedom: int, *, is_randomised: bool) -> str | None:
    narrow = _too_narrow(float(np.ptp(energy)), freedom + 1)
    if narrow is not None:
        return narrow
    if inflation > LARGEST_INFLATION:
        return f"mixing energy moves with flow and solids: variance inflation {inflation:.1f}, at most {LARGEST_INFLATION:.0f}"
    if not is_randomised and abs(kappa) < half and half > WIDEST_SHARE * abs(kappa):
        return "passive history: the interval holds 0 and is wider than half the estimate"
    return None


@dataclass(frozen=True)
class OfSteps:
    """M3: kappa per kPa with its interval, beside the arm; what it explains of the arm's effect; bound and refusal."""

    kappa: Estimate | None
    inflation: float
    mediated_share: float | None
    optimum_kpa: float | None  # of M2, where it lies inside the data and fits better than a straight line
    bound: float | None
    refusal: str | None


def of_steps(steps: Steps, energy_kpa: Array) -> OfSteps:
    """Return the apparent loss from ladder steps of known mixing energy: the arm stays in the model unless all steps are of one arm."""
    arms = np.unique(steps.arm)
    fixed = () if len(arms) == 2 else (THETA, F)
    others = [steps.arm] if len(arms) == 2 else []
    inflation = _inflation(np.column_stack([_within(c, steps.sets) for c in (energy_kpa, *others)]))
    span, count = float(np.ptp(energy_kpa)), len(np.unique(steps.sets))
    bound = _bound(steps, energy_kpa) if len(arms) == 2 else None
    refusal = _too_narrow(span, count) or (
        f"mixing energy changes with the arm only (variance inflation {inflation:.1f}, at most {LARGEST_INFLATION:.0f}): step the valve within an arm"
        if inflation > LARGEST_INFLATION
        else None
    )
    if refusal is not None:
        return OfSteps(None, inflation, None, None, bound, refusal)
    scaled = Steps(steps.dose, steps.arm, steps.sets, steps.cake, steps.capture, (energy_kpa - energy_kpa.mean()) / span)
    curve = dose_curve.fit(scaled, fixed)
    found = ladder.estimate(scaled, curve, lambda p: np.asarray(p[:, KAPPA] / span), fixed=fixed)
    share = None
    if found is not None and len(arms) == 2:
        old, new = (float(energy_kpa[steps.arm == a].mean()) for a in (0.0, 1.0))
        whole = float(curve.parameters[THETA]) + found.value * (old - new)
        share = mediated_share(found.value, old, new, whole)
    return OfSteps(found, inflation, share, _optimum(scaled, curve, energy_kpa), bound, None)


def _too_narrow(span: float, count: int) -> str | None:
    if span < LEAST_SPAN_KPA:
        return f"mixing energy spans {span:.0f} kJ/m3, {LEAST_SPAN_KPA:.0f} needed"
    return f"{count} sets, {LEAST_SETS} needed" if count < LEAST_SETS else None


def _bound(steps: Steps, energy_kpa: Array) -> float | None:
    """Return kappa per kPa if all of the arm's effect on the dose needed were mixing energy."""
    old, new = (float(energy_kpa[steps.arm == a].mean()) for a in (0.0, 1.0))
    return float(dose_curve.fit(steps).parameters[THETA]) / (old - new) if abs(old - new) > LEAST_SPAN_KPA else None


def _optimum(steps: Steps, curve: dose_curve.Curve, energy_kpa: Array) -> float | None:
    """Return the energy of most effect of M2, where the dose that each step's capture stands for fits it better than a straight line."""
    p = curve.parameters
    with np.errstate(invalid="ignore", divide="ignore"):
        u = (p[LN_R1] - np.log(1.0 - steps.capture / 100.0 - np.exp(p[LN_R0]))) / np.exp(p[LN_BETA])
        ln_need = np.log(steps.dose / curve.scale) - np.log(u) + p[THETA] * steps.arm - p[SHAPES:][steps.sets]
    known = np.isfinite(ln_need)
    if known.sum() < 4 * LEAST_SETS:
        return None
    x, y = energy_kpa[known], ln_need[known]
    line = np.column_stack([np.ones(len(x)), x])
    straight = ordinary(line, y)[2]
    bent = u_shape(x, y)
    return bent[2] if bent is not None and _bent_misfit(x, y, bent) < straight * BETTER_SHARE else None


def _bent_misfit(x: Array, y: Array, bent: tuple[float, float, float]) -> float:
    gap = y + np.log(-np.expm1(-x / bent[0])) - x / bent[1]
    return float(((gap - gap.mean()) ** 2).sum())


def u_shape(energy_kpa: Array, ln_dose: Array) -> tuple[float, float, float] | None:
    """Return (e_m, e_b, optimum energy) [kPa] of M2 by least squares over a grid of e_m and e_b; None where the optimum lies outside the data."""
    best: tuple[float, float, float] | None = None
    least = np.inf
    for mixing in np.geomspace(0.5, 200.0, 120):
        for breaking in np.geomspace(50.0, 20000.0, 120):
            gap = ln_dose + np.log(-np.expm1(-energy_kpa / mixing)) - energy_kpa / breaking
            miss = float(((gap - gap.mean()) ** 2).sum())
            if miss < least:
                least, best = miss, (float(mixing), float(breaking), optimum_energy(float(mixing), float(breaking)))
    assert best is not None
    return best if energy_kpa.min() <= best[2] <= energy_kpa.max() else None


def optimum_energy(mixing: float, breaking: float) -> float:
    """Return the energy of most effect: e_m ln(1 + e_b / e_m)."""
    return mixing * float(np.log1p(breaking / mixing))


def mediated_share(kappa_per_kpa: float, energy_old_kpa: float, energy_new_kpa: float, ln_saving: float) -> float | None:
    """Return the share of the arm's effect (ln dose) that the change of energy explains; None without an effect."""
    return kappa_per_kpa * (energy_old_kpa - energy_new_kpa) / ln_saving if abs(ln_saving) > 1e-9 else None
