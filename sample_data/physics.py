"""Process equations of the invented plants, and the random walks that move them. All parameters are assumptions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GAL_M3 = 0.003785411784
LB_KG = 0.45359237
PSI_KPA = 6.894757293168361
SHORT_TON_T = 0.90718474
TARGET_U = 1.15  # relative dose the operators aim at


def wander(rng: np.random.Generator, n: int, sd: float, tau_min: float, quiet: bool) -> Array:
    """Return an Ornstein-Uhlenbeck path on a one-minute grid: stationary sd, time constant tau [min]; zeros when quiet."""
    if quiet:
        return np.zeros(n)
    rho = np.exp(-1.0 / tau_min)
    shocks = rng.standard_normal(n) * sd * np.sqrt(1.0 - rho * rho)
    shocks[0] = rng.standard_normal() * sd
    out = np.empty(n)
    level = 0.0
    # first-order recursion in blocks: exact, and fast enough without a compiled loop
    block = 4096
    powers = rho ** np.arange(1, block + 1)
    for start in range(0, n, block):
        part = shocks[start : start + block]
        size = len(part)
        scaled = np.cumsum(part / powers[:size]) * powers[:size]
        out[start : start + size] = scaled + level * powers[:size]
        level = out[start + size - 1]
    return out


def cake_pct(u: Array, vs: Array, load: Array, gain: Array) -> Array:
    """Cake total solids [%] at relative dose u, volatile solids [%], load ratio and arrangement gain [points]."""
    return 23.5 - 12.0 * np.exp(-2.1 * u) - 2.0 * np.maximum(0.0, u - 1.5) ** 2 - 0.05 * (vs - 64.0) - 0.8 * (load - 1.0) + gain


def loss_share(u: Array, load: Array) -> Array:
    """Share of feed solids lost with the filtrate."""
    return (0.03 + 1.2 * np.exp(-3.6 * u)) * np.exp(1.5 * np.maximum(0.0, load - 1.1))


def rotodynamic_speed(q_gpm: Array, head_ft: Array, wear: float) -> Array:
    """Speed ratio n = N/N_ref at which H0 n2 - 1.6e-4 Q2 meets the head [ft]."""
    return np.sqrt(np.maximum(head_ft + 1.6e-4 * q_gpm**2, 0.0) / (120.0 * (1.0 - wear)))


def filtrate_pct(capture: Array, ts: Array, cake: Array, w: Array) -> Array:
    """Filtrate solids [%] from the mass balance: feed 1, water w, cake capture*ts/cake, the rest is filtrate."""
    return (1.0 - capture) * ts / (1.0 + w - capture * ts / cake)
