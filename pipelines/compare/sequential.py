"""A running interval that stays valid however often it is read, from the plan's own draw.

If the arms differ by tau and by nothing else, the difference of each set less tau is as likely to have one sign as the other, whatever its size: the
order of the set was drawn. A gambler who stakes on the sign at fair odds then multiplies his wealth by exp(k z) / cosh(k z) a set, z the signed
difference in units of its root mean square so far, k the stake. Wealth averaged over stakes and both signs is 1 on average, and reaches 1 / alpha in at
most alpha of all trials, at any time (Ville 1939). The interval holds every tau against which the wealth has not reached 1 / alpha.

Exact for any noise and any number of sets, for a constant difference of arms; no interval is finite before `FIRST` sets. Fair bets on signs: de la Pena 1999;
confidence sequences: Howard, Ramdas, McAuliffe, Sekhon 2021; betting: Waudby-Smith, Ramdas 2024 (all from memory).
"""

from __future__ import annotations

import numpy as np

from pipelines.compare.gls import Array

FIRST = 6  # with 5 sets of one sign the wealth is below 2^5 / 2 = 16: no tau can be rejected at 5 %
STAKES = (0.5, 1.0, 2.0)  # narrowest from 8 to 40 sets among the grids tried on standard normal differences
_WIDEST = 12.0  # ends are sought within so many standard deviations of the mean
_STEPS = 30  # bisection steps for an end


def log_wealth(differences: Array, taus: Array) -> Array:
    """Return ln of the gambler's wealth against each tau after each set (sets x taus)."""
    z = differences[:, None] - taus[None, :]
    scale = np.sqrt(np.cumsum(z * z, 0) / np.arange(1, len(differences) + 1)[:, None])
    z = z / np.maximum(scale, 1e-300)
    stakes = np.array([sign * k for k in STAKES for sign in (1.0, -1.0)])
    won = stakes[:, None, None] * z - np.logaddexp(stakes[:, None, None] * z, -stakes[:, None, None] * z) + np.log(2.0)
    return np.asarray(np.logaddexp.reduce(np.cumsum(won, 1), axis=0) - np.log(len(stakes)))


def interval(differences: Array, alpha: float = 0.05) -> tuple[float, float, float]:
    """Return mean, low and high after all sets; an end is infinite where no tau is rejected."""
    mean = float(differences.mean())
    if len(differences) < FIRST:
        return mean, -np.inf, np.inf
    return mean, _end(differences, mean, -1.0, alpha), _end(differences, mean, 1.0, alpha)


def _end(differences: Array, mean: float, sign: float, alpha: float) -> float:
    def is_rejected(tau: float) -> bool:
        return bool(log_wealth(differences, np.array([tau]))[-1, 0] >= -np.log(alpha))

    inside, outside = mean, mean + sign * _WIDEST * max(float(differences.std(ddof=1)), 1e-12)
    if not is_rejected(outside):
        return sign * np.inf
    for _ in range(_STEPS):
        middle = 0.5 * (inside + outside)
        inside, outside = (inside, middle) if is_rejected(middle) else (middle, outside)
    return outside
