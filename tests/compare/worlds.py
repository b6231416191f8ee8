"""Noise the methods do not assume: simulated trials with a known difference of arms, in ln dose by operating day."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pipelines.compare.dose_curve import Steps

Array = NDArray[np.float64]
Rng = np.random.Generator
SD = 0.12  # of ln dose of a day


def ar(rng: Rng, n: int, trials: int, rho: float) -> Array:
    """Return unit-variance first-order autoregressive paths (n x trials)."""
    shocks = rng.standard_normal((n, trials)) * np.sqrt(1.0 - rho * rho)
    out = np.empty((n, trials))
    out[0] = rng.standard_normal(trials)
    for k in range(1, n):
        out[k] = rho * out[k - 1] + shocks[k]
    return out


def mixed(rng: Rng, n: int, trials: int, rho: float) -> Array:
    return np.sqrt(0.5) * (ar(rng, n, trials, rho) + rng.standard_normal((n, trials)))


def heavy(rng: Rng, n: int, trials: int) -> Array:
    """AR(1) 0.5 and, in equal share, each day's own error of Student's t with 3 degrees of freedom."""
    return np.sqrt(0.5) * (ar(rng, n, trials, 0.5) + rng.standard_t(3, (n, trials)) / np.sqrt(3.0))


def drifting(rng: Rng, n: int, trials: int) -> Array:
    """Half the variance in a drift with a time constant of 33 days."""
    return mixed(rng, n, trials, 0.97)


def lab_bias(rng: Rng, n: int, trials: int) -> Array:
    """AR(1) 0.5, and a bias of the laboratory that is drawn anew every 7 days, of a third of the variance."""
    weeks = rng.standard_normal((n // 7 + 1, trials))[np.arange(n) // 7]
    return np.sqrt(2.0 / 3.0) * ar(rng, n, trials, 0.5) + np.sqrt(1.0 / 3.0) * weeks


def meter_drift(rng: Rng, n: int, trials: int) -> Array:
    """AR(1) 0.5 and a random walk of the meter that reaches 2 % of the reading in 60 days."""
    walk = np.cumsum(rng.standard_normal((n, trials)), 0) * 0.02 / np.sqrt(60.0)
    return ar(rng, n, trials, 0.5) + walk / SD


NOISES: dict[str, Callable[[Rng, int, int], Array]] = {
    "white": lambda r, n, s: r.standard_normal((n, s)),
    "AR 0.5": lambda r, n, s: ar(r, n, s, 0.5),
    "AR 0.7": lambda r, n, s: ar(r, n, s, 0.7),
    "half AR 0.8, half white": lambda r, n, s: mixed(r, n, s, 0.8),
    "half AR 0.9, half white": lambda r, n, s: mixed(r, n, s, 0.9),
    "slow drift": drifting,
    "heavy tails": heavy,
    "lab bias by week": lab_bias,
    "meter drift": meter_drift,
}


def trimmed(rng: Rng, arm: Array, trials: int, tau: float) -> Array:
    """Return ln dose (n x trials) of operators who close 0.45 of the gap to the arm's need each day, need AR(1) 0.78."""
    n = len(arm)
    need = 0.09 * ar(rng, n, trials, 0.78) + tau * arm[:, None]
    set_ = np.zeros((n, trials))
    set_[0] = need[0]
    for k in range(1, n):
        seen = need[k - 1] + 0.06 * rng.standard_normal(trials)
        set_[k] = set_[k - 1] + 0.45 * (seen - set_[k - 1]) + 0.03 * rng.standard_normal(trials)
    return set_ + 0.05 * rng.standard_normal((n, trials))


RUNGS = np.array([0.55, 0.75, 0.95, 1.20])
WIDE_RUNGS = np.array([0.55, 0.80, 1.10, 1.50])


def ladder(rng: Rng, design: str, sets: int, theta: float, gain: float, noise: str = "usual", rungs: Array = RUNGS) -> Steps:
    """Return the steps of a dose ladder from the demonstration's curves, which are not those that are fitted (overdosing lowers the cake).

    design: "pairs" (whole days, one rung a pair), "within" (both arms and all rungs in a day), "weeks" (five rungs a week, arms in turn).
    noise: usual, heavy (t3 errors of the lab), drift (demand wanders with 30 days), bias (the lab errs by set).
    """
    per = {"pairs": 2, "within": 2 * len(rungs), "weeks": 10}[design]
    index = np.repeat(np.arange(sets), per)
    n = per * sets
    rho = np.exp(-1.0 / (30.0 if noise == "drift" else 4.0))
    day = {"pairs": np.arange(n), "within": index, "weeks": np.arange(n) // 5 * 7 + np.arange(n) % 5}[design]
    demand = 0.09 * ar(rng, int(day.max()) + 1, 1, rho)[:, 0][day]
    if design == "pairs":
        first = rng.integers(0, 2, sets)
        arm = np.column_stack([first, 1 - first]).ravel().astype(float)
        rung = np.repeat(rng.permutation(np.resize(rungs, sets)), 2)
    elif design == "within":
        arm = np.concatenate([rng.permutation(np.repeat([0.0, 1.0], len(rungs))) for _ in range(sets)])
        rung = np.concatenate([_paired_rungs(arm[index == k], rungs, rng) for k in range(sets)])
        demand = demand + 0.02 * rng.standard_normal(n)
    else:
        arm = np.tile(np.repeat([0.0, 1.0], 5), sets)
        rung = np.concatenate([rng.permutation(np.append(RUNGS, 1.0)) for _ in range(2 * sets)])
    error = (lambda sd: sd * rng.standard_t(3, n) / np.sqrt(3.0)) if noise == "heavy" else (lambda sd: sd * rng.standard_normal(n))
    dose = 1.4 * rung * np.exp(0.03 * rng.standard_normal(n))
    u = dose * np.exp(theta * arm - demand - 0.2)
    cake = 23.5 - 12.0 * np.exp(-2.1 * u) - 2.0 * np.maximum(0.0, u - 1.5) ** 2 + gain * arm + error(0.57)
    loss = (0.03 + 1.2 * np.exp(-3.6 * u)) * np.exp(0.06 * rng.standard_normal(n) + error(0.15))
    ts = np.exp(error(0.05) + (0.03 * rng.standard_normal(sets)[index] if noise == "bias" else 0.0))
    capture = 100.0 * (1.0 - np.clip(loss / ts, 0.001, 0.9))
    return Steps(10.0 * dose / ts, arm, index, cake, capture)


def _paired_rungs(arm: Array, rungs: Array, rng: Rng) -> Array:
    out = np.zeros(len(arm))
    for a in (0.0, 1.0):
        out[arm == a] = rng.permutation(rungs)
    return out


VALVE_KPA = np.array([14.0, 69.0, 138.0, 207.0])  # about 2, 10, 20, 30 psi


def valve_steps(
    rng: Rng, sets: int, kappa_per_kpa: float, theta: float = 0.0, noise: str = "usual", share_of_days: bool = False
) -> tuple[Steps, Array]:
    """Return ladder steps at four valve positions within each set, and their mixing energy [kPa]; the arms take turns within a set.

    Effectiveness falls as exp(-kappa e); `share_of_days`: energy follows the arm alone, as with a change of pump without valve steps.
    """
    steps = ladder(rng, "within", sets, 0.0, 0.0, noise, WIDE_RUNGS)
    per = len(steps.dose) // sets
    energy = np.concatenate([rng.permutation(np.tile(VALVE_KPA, per // 4)) for _ in range(sets)])
    if share_of_days:
        energy = np.where(steps.arm == 1.0, 14.0, 207.0) + rng.normal(0.0, 3.0, len(steps.dose))
    # the same outcome at a dose that is higher by exp(kappa e - theta B)
    return Steps(steps.dose * np.exp(kappa_per_kpa * energy - theta * steps.arm), steps.arm, steps.sets, steps.cake, steps.capture), energy
