"""Relative potency over dose ladders: one dose-response for both arms, shifted along the dose axis.

With u = d exp(theta B - kappa e - g_k), d the dose, B 1 in the new arm, e the mixing energy less its mean (only for shear; kappa is 0 otherwise), g_k the
demand of set k (pair of days, pair of blocks):

    cake = c0 + f B - A exp(-b u) - q max(0, u - x)^2        ln(1 - capture) = ln(r0 + r1 exp(-beta u))

theta is ln relative potency, f the cake gained at equal relative dose. The saving at equal performance is 1 - d_B / d_A, where d is the
lowest dose with the cake and the capture the plan asks for; the outcome that asks for more binds. Where capture binds it is
1 - exp(-theta). f and theta part only where the ladder reaches the plateau in both arms.

Fit: penalised least squares by Levenberg and Marquardt, many weightings at once. Shapes carry wide priors (common practice, no source: a factor of
two about the usual forms), demand of sets one of 10 %. Intervals from sets, never from steps: each set left out in turn (jackknife) gives
pseudo-values, on them Student's t, or the sign-flip test of the plan's draw. Parallel-line assays: Finney 1978; jackknife: Tukey 1958.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.compare.gls import Array

Ints = NDArray[np.int64]
C0, LN_A, LN_B, LN_R0, LN_R1, LN_BETA, THETA, F, LN_Q, LN_X, KAPPA = range(11)
SHAPES = 11
_PRIOR_MEAN = np.array([23.5, np.log(12.0), np.log(2.1), np.log(0.03), np.log(1.2), np.log(3.6), 0.0, 0.0, np.log(0.7), np.log(1.5), 0.0])
_PRIOR_SD = np.array([10.0, 0.7, 0.7, 1.0, 0.7, 0.7, 5.0, 5.0, 1.2, 0.3, 5.0])
DEMAND_SD = 0.10  # of ln demand between sets
_ITERATIONS = 14

NOT_PARALLEL_P = (
    0.01  # below it the curves differ in shape; with 6 pairs of weeks 0.05 would flag 20 % of parallel curves, 0.01 flags 3 % (60 trials)
)
PLATEAU_SLOPE_PCT = 0.5  # points of cake that the last 20 % of dose may still add where a plateau counts as reached


@dataclass(frozen=True)
class Steps:
    """Ladder steps: dose [kg/t], arm (1 new), set number from 0, cake [%], capture [%], NaN where not sampled; mixing energy in units of its own."""

    dose: Array
    arm: Array
    sets: Ints
    cake: Array
    capture: Array
    energy: Array | None = None  # about 1 in span, mean 0; None: the curve has no kappa

    def kept(self, keep: NDArray[np.bool_]) -> Steps:
        """Return the steps kept, their sets numbered anew."""
        _, sets = np.unique(self.sets[keep], return_inverse=True)
        energy = None if self.energy is None else self.energy[keep]
        return Steps(self.dose[keep], self.arm[keep], sets, self.cake[keep], self.capture[keep], energy)

    @property
    def count(self) -> int:
        return int(self.sets.max()) + 1

    @property
    def scale(self) -> float:
        """Return the dose that counts as 1 in the fit: the median of all steps [kg/t]."""
        return float(np.median(self.dose))


@dataclass(frozen=True)
class Curve:
    """Fitted parameters (last axis: 10 shapes, then the demand of each set) for one or many weightings, and the scatter of both outcomes."""

    parameters: Array
    cake_sd: float
    ln_loss_sd: float
    scale: float

    def cake(self, dose: Array, arm: float) -> Array:
        """Return the cake [%] at doses [kg/t] of an arm, demand of an average set."""
        p = self.parameters
        u = dose / self.scale * np.exp(p[THETA] * arm)
        over = np.exp(p[LN_Q]) * np.maximum(0.0, u - np.exp(p[LN_X])) ** 2
        return np.asarray(p[C0] + p[F] * arm - np.exp(p[LN_A] - np.exp(p[LN_B]) * u) - over)

    def capture(self, dose: Array, arm: float) -> Array:
        """Return the capture [%] at doses [kg/t] of an arm."""
        p = self.parameters
        u = dose / self.scale * np.exp(p[THETA] * arm)
        return np.asarray(100.0 * (1.0 - np.exp(p[LN_R0]) - np.exp(p[LN_R1] - np.exp(p[LN_BETA]) * u)))


_Made = tuple[Array, Array, Array, Array, Array, Array, Array]


def _model(p: Array, s: Steps, x: Array) -> _Made:
    """Return cake, ln loss, their slopes against ln u, the lack of cake and its slope, and what u exceeds the knee by (weightings x steps)."""
    ln_u = np.log(x)[None, :] + p[:, THETA, None] * s.arm[None, :] - p[:, SHAPES:][:, s.sets]
    if s.energy is not None:
        ln_u = ln_u - p[:, KAPPA, None] * s.energy[None, :]
    u = np.exp(np.clip(ln_u, -5.0, 5.0))
    b, beta = np.exp(p[:, LN_B, None]), np.exp(p[:, LN_BETA, None])
    lack = np.exp(p[:, LN_A, None] - b * u)
    r0, fall = np.exp(p[:, LN_R0, None]), np.exp(p[:, LN_R1, None] - beta * u)
    q, excess = np.exp(p[:, LN_Q, None]), np.maximum(0.0, u - np.exp(p[:, LN_X, None]))
    cake = p[:, C0, None] + p[:, F, None] * s.arm[None, :] - lack - q * excess**2
    rise = lack * b * u
    return cake, np.log(r0 + fall), rise - 2.0 * q * excess * u, -fall * beta * u / (r0 + fall), lack, rise, excess


def _jacobian(p: Array, s: Steps, made: _Made) -> tuple[Array, Array]:
    """Return the derivatives of cake and ln loss by every parameter (weightings x steps x parameters)."""
    cake, ln_loss, cake_slope, loss_slope, lack, rise, excess = made
    n, size = cake.shape
    arm, q, knee = np.broadcast_to(s.arm, (n, size)), np.exp(p[:, LN_Q, None]), np.exp(p[:, LN_X, None])
    r0_share = np.exp(p[:, LN_R0, None] - ln_loss)
    j_cake, j_loss = np.zeros((n, size, p.shape[1])), np.zeros((n, size, p.shape[1]))
    j_cake[:, :, C0], j_cake[:, :, F], j_cake[:, :, LN_A] = 1.0, arm, -lack
    j_cake[:, :, LN_B], j_cake[:, :, THETA] = rise, cake_slope * arm  # u enters as b u, so d/d ln b is the rise by ln u
    j_cake[:, :, LN_Q], j_cake[:, :, LN_X] = -q * excess**2, 2.0 * q * excess * knee
    j_loss[:, :, LN_R0], j_loss[:, :, LN_R1] = r0_share, 1.0 - r0_share
    j_loss[:, :, LN_BETA], j_loss[:, :, THETA] = loss_slope, loss_slope * arm
    if s.energy is not None:
        j_cake[:, :, KAPPA], j_loss[:, :, KAPPA] = -cake_slope * s.energy, -loss_slope * s.energy
    at = np.arange(size)
    j_cake[:, at, SHAPES + s.sets], j_loss[:, at, SHAPES + s.sets] = -cake_slope, -loss_slope
    return j_cake, j_loss


def _iterate(p: Array, s: Steps, weight: Array, sds: tuple[float, float], fixed: tuple[int, ...]) -> Array:
    """Return parameters after Levenberg-Marquardt steps; weight: weightings x sets."""
    prior_mean = np.concatenate([_PRIOR_MEAN, np.zeros(s.count)])
    prior = 1.0 / np.concatenate([_PRIOR_SD, np.full(s.count, DEMAND_SD)]) ** 2
    x, each = s.dose / s.scale, weight[:, s.sets]
    seen = [np.isfinite(s.cake), np.isfinite(s.capture) & (s.capture < 100.0)]
    target = [np.where(seen[0], s.cake, 0.0), np.log(np.where(seen[1], 1.0 - s.capture / 100.0, 1.0))]
    free = np.array([k not in fixed for k in range(p.shape[1])])
    damping = np.full(len(p), 1e-3)

    def cost(q: Array) -> tuple[Array, list[Array], _Made]:
        made = _model(q, s, x)
        gaps = [(target[k] - made[k]) * seen[k] / sds[k] for k in (0, 1)]
        total = sum((each * g * g).sum(1) for g in gaps) + (prior * (q - prior_mean) ** 2).sum(1)
        return np.asarray(total), gaps, made

    now, gaps, made = cost(p)
    for _ in range(_ITERATIONS):
        j = _jacobian(p, s, made)
        normal = np.zeros((len(p), p.shape[1], p.shape[1]))
        gradient = -prior * (p - prior_mean)
        for k in (0, 1):
            scaled = j[k] * (seen[k] / sds[k])[None, :, None]
            weighted = scaled * each[:, :, None]
            normal += weighted.transpose(0, 2, 1) @ scaled
            gradient = gradient + (weighted.transpose(0, 2, 1) @ gaps[k][:, :, None])[:, :, 0]
        diagonal = np.einsum("ijj->ij", normal)
        diagonal += prior
        diagonal *= 1.0 + damping[:, None]
        step = np.zeros_like(p)
        step[:, free] = np.linalg.solve(normal[:, free][:, :, free], gradient[:, free][:, :, None])[:, :, 0]
        tried = p + np.clip(step, -1.5, 1.5)
        new, new_gaps, new_made = cost(tried)
        better = new < now
        p = np.where(better[:, None], tried, p)
        damping = np.where(better, damping * 0.2, damping * 8.0)
        gain = float(np.max(np.where(better, now - new, 0.0) / np.maximum(now, 1e-12)))
        now = np.where(better, new, now)
        gaps = [np.where(better[:, None], a, b) for a, b in zip(new_gaps, gaps, strict=True)]
        made = tuple(np.where(better[:, None], a, b) for a, b in zip(new_made, made, strict=True))  # type: ignore[assignment]
        if gain < 1e-9:
            break
    return p


def fit(s: Steps, fixed: tuple[int, ...] = ()) -> Curve:
    """Return the curve of all sets; `fixed` parameters stay at 0 (THETA, F, KAPPA). Scatter of both outcomes is estimated in three passes."""
    p = np.concatenate([_PRIOR_MEAN, np.zeros(s.count)])[None, :].copy()
    if np.isfinite(s.cake).any():
        p[0, C0] = np.nanmax(s.cake)
    sds = (0.6, 0.2)
    for _ in range(3):
        p = _iterate(p, s, np.ones((1, s.count)), sds, fixed)
        sds = _scatter(p, s)
    return Curve(p[0], *sds, s.scale)


def _scatter(p: Array, s: Steps) -> tuple[float, float]:
    cake, ln_loss, *_ = _model(p, s, s.dose / s.scale)
    with np.errstate(invalid="ignore", divide="ignore"):
        gaps = (s.cake - cake[0], np.log(1.0 - s.capture / 100.0) - ln_loss[0])
    spent = (5.0 + 0.5 * s.count, 4.0 + 0.5 * s.count)  # coefficients each outcome pays for, roughly
    found = []
    for gap, cost, least in zip(gaps, spent, (0.15, 0.05), strict=True):
        known = gap[np.isfinite(gap)]
        found.append(max(least, float(np.sqrt((known**2).sum() / max(len(known) - cost, 3.0)))) if len(known) else 1.0)
    return found[0], found[1]


def refit(s: Steps, curve: Curve, weight: Array, fixed: tuple[int, ...] = ()) -> Array:
    """Return the parameters of each weighting of sets (weightings x sets), started from the curve of all."""
    start = np.repeat(curve.parameters[None, :], len(weight), 0)
    return _iterate(start, s, weight, (curve.cake_sd, curve.ln_loss_sd), fixed)


def required_ln_dose(p: Array, arm: float, cake: float | None, capture: float | None) -> tuple[Array, Array]:
    """Return ln of the relative dose that cake and capture ask for, each (weightings); -inf where not asked, +inf where out of reach."""
    shift = -p[:, THETA] * arm
    with np.errstate(divide="ignore", invalid="ignore"):
        by_cake, by_capture = np.full(len(p), -np.inf), np.full(len(p), -np.inf)
        if cake is not None:
            lack = p[:, C0] + p[:, F] * arm - cake
            u = (p[:, LN_A] - np.log(lack)) / np.exp(p[:, LN_B])
            by_cake = np.where(lack <= 0.0, np.inf, np.where(u > 0.0, np.log(u) + shift, -np.inf))
        if capture is not None:
            excess = 1.0 - capture / 100.0 - np.exp(p[:, LN_R0])
            u = (p[:, LN_R1] - np.log(excess)) / np.exp(p[:, LN_BETA])
            by_capture = np.where(excess <= 0.0, np.inf, np.where(u > 0.0, np.log(u) + shift, -np.inf))
    return by_cake, by_capture


Statistic = Callable[[Array], Array]  # parameters (weightings x parameters) to one number each


def ln_dose_ratio(cake: float | None = None, capture: float | None = None) -> Statistic:
    """Return the statistic ln(dose of the new arm / dose of the old) at the performance asked for; -theta when nothing is asked."""

    def statistic(p: Array) -> Array:
        if cake is None and capture is None:
            return np.asarray(-p[:, THETA])
        old, new = (np.maximum(*required_ln_dose(p, arm, cake, capture)) for arm in (0.0, 1.0))
        with np.errstate(invalid="ignore"):
            return np.asarray(new - old)

    return statistic


def point(p: Array, arm: float, cake: float | None, capture: float | None, scale: float) -> tuple[Array, Array, Array]:
    """Return dose [kg/t], cake [%] and capture [%] of an arm at the dose its performance needs (weightings each)."""
    ln_dose = np.maximum(*required_ln_dose(p, arm, cake, capture))
    with np.errstate(invalid="ignore", over="ignore"):
        u = np.exp(ln_dose + p[:, THETA] * arm)
        over = np.exp(p[:, LN_Q]) * np.maximum(0.0, u - np.exp(p[:, LN_X])) ** 2
        cakes = p[:, C0] + p[:, F] * arm - np.exp(p[:, LN_A] - np.exp(p[:, LN_B]) * u) - over
        captures = 100.0 * (1.0 - np.exp(p[:, LN_R0]) - np.exp(p[:, LN_R1] - np.exp(p[:, LN_BETA]) * u))
        return np.asarray(scale * np.exp(ln_dose)), np.asarray(cakes), np.asarray(captures)


def cake_gain(cake: float | None = None, capture: float | None = None) -> Statistic:
    """Return the statistic cake of the new arm less that of the old [points], each at the dose its performance asks for."""

    def statistic(p: Array) -> Array:
        return np.asarray(point(p, 1.0, cake, capture, 1.0)[1] - point(p, 0.0, cake, capture, 1.0)[1])

    return statistic


def pseudo_values(s: Steps, curve: Curve, statistic: Statistic | None = None, fixed: tuple[int, ...] = ()) -> tuple[float, Array]:
    """Return a statistic (default: ln potency ratio) of all sets, and the jackknife pseudo-value of each set, moved to have it as their mean.

    Unmoved, their mean is the jackknife's correction for bias, which scatters three times as widely as the estimate.
    """
    statistic = statistic or ln_dose_ratio()
    whole = float(statistic(curve.parameters[None, :])[0])
    without = statistic(refit(s, curve, 1.0 - np.eye(s.count), fixed))
    return whole, whole + (s.count - 1) * (without.mean() - without)


def model_error(s: Steps, curve: Curve, statistic: Statistic | None = None) -> float:
    """Return the standard error of a statistic (default: ln potency ratio) from the curvature of the fit and its scatter, steps taken as independent."""
    statistic = statistic or ln_dose_ratio()
    p = curve.parameters[None, :]
    made = _model(p, s, s.dose / curve.scale)
    seen = (np.isfinite(s.cake), np.isfinite(s.capture) & (s.capture < 100.0))
    normal = np.diag(1.0 / np.concatenate([_PRIOR_SD, np.full(s.count, DEMAND_SD)]) ** 2)
    for j, known, sd in zip(_jacobian(p, s, made), seen, (curve.cake_sd, curve.ln_loss_sd), strict=True):
        part = j[0] * known[:, None] / sd
        normal = normal + part.T @ part
    moves = 1e-4 * np.eye(p.shape[1])
    gradient = (statistic(p + moves) - statistic(p - moves)) / 2e-4
    return float(np.sqrt(gradient @ np.linalg.solve(normal, gradient)))


def interval_t(pseudo: Array, least_error: float = 0.0, level: float = 0.95) -> tuple[float, float, float]:
    """Return mean, low and high of pseudo-values by Student's t over sets; their standard error counts as at least `least_error`."""
    from scipy import stats

    error = max(float(pseudo.std(ddof=1) / np.sqrt(len(pseudo))), least_error)
    half = stats.t.ppf((1.0 + level) / 2.0, len(pseudo) - 1) * error
    return float(pseudo.mean()), float(pseudo.mean() - half), float(pseudo.mean() + half)


def parallelism_p(s: Steps) -> float:
    """Return the p-value of "both arms have one shape": ln b and ln beta of each arm's own curve, Hotelling's T2 of their differences over sets.

    Sets are the units (pseudo-values of the jackknife), since demand that drifts within a set bends the curve of an arm by chance. 1 with fewer than 4 sets.
    """
    from scipy import stats

    shapes, pseudo = [LN_B, LN_BETA], []
    for arm in (0.0, 1.0):
        part = _part(s, s.arm == arm)
        curve = fit(part, fixed=(THETA, F))
        without = refit(part, curve, 1.0 - np.eye(part.count), (THETA, F))[:, shapes]
        pseudo.append(curve.parameters[shapes] + (part.count - 1) * (without.mean(0) - without))
    n = s.count
    if n < 4 or len(pseudo[0]) != len(pseudo[1]):
        return 1.0
    gaps = pseudo[1] - pseudo[0]
    gaps = gaps[:, gaps.std(0) > 1e-9]  # an outcome that was not sampled has no shape
    k = gaps.shape[1]
    if k == 0:
        return 1.0
    mean, spread = gaps.mean(0), np.atleast_2d(np.cov(gaps.T))
    t2 = n * float(mean @ np.linalg.solve(spread, mean))
    return float(stats.f.sf(t2 * (n - k) / (k * (n - 1)), k, n - k))


def _part(s: Steps, keep: NDArray[np.bool_]) -> Steps:
    """Return the steps kept as if they were of the old arm."""
    return replace(s.kept(keep), arm=np.zeros(int(keep.sum())))


def reaches_plateau(s: Steps, curve: Curve, arm: float) -> bool:
    """Tell whether an arm's highest step lies on the cake's plateau: the last 20 % of its dose add at most half a point."""
    top = float(s.dose[s.arm == arm].max())
    return bool(curve.cake(np.array([top]), arm)[0] - curve.cake(np.array([top / 1.2]), arm)[0] <= PLATEAU_SLOPE_PCT)
