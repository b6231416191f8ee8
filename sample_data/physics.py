"""Process equations of the invented plants and the random walks that move them.

Every parameter is an assumption of the demonstration. SI throughout (m3/h, kPa, kW, rpm, %), but for the rotodynamic
pump and the valve, whose equations are written in gpm, feet and psi and converted at the edge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GPM_M3_H = 0.2271247070  # 1 US gallon a minute [m3/h]: 3.785411784 L x 60
PSI_KPA = 6.894757293168361
FT_PER_PSI = 2.307  # feet of water per psi, SG 1
HP_KW = 0.745699872
LB_DT_KG_T = 0.5  # 1 lb per short ton is 0.5 kg per tonne, exactly

SHUTOFF_HEAD_FT = 120.0  # rotodynamic pump as new, at the reference speed
HEAD_LOSS_FT_PER_GPM2 = 1.6e-4  # fall of the pump's head with flow
REFERENCE_RPM = 1180.0
STATIC_HEAD_FT = 15.0  # system of the belt presses: lift
SYSTEM_FT_PER_GPM2 = 1.44e-4  # and pipe friction


def wander(rng: np.random.Generator, n: int, sd: float, tau_min: float, quiet: bool) -> Array:
    """Return an Ornstein-Uhlenbeck path on a one-minute grid: stationary sd, time constant tau [min]; zeros when quiet."""
    if quiet:
        return np.zeros(n)
    rho = float(np.exp(-1.0 / tau_min))
    shocks = rng.standard_normal(n) * sd * np.sqrt(1.0 - rho * rho)
    level = float(rng.standard_normal()) * sd
    out = np.empty(n)
    block = max(1, min(8192, int(20.0 * tau_min)))  # rho**block stays far from underflow
    powers = rho ** np.arange(1, block + 1)
    for start in range(0, n, block):  # exact recursion, a block at a time: x_k = rho^k x_0 + sum of rho^(k-j) shock_j
        part = shocks[start : start + block]
        grown = powers[: len(part)]
        out[start : start + block] = (np.cumsum(part / grown) + level) * grown
        level = float(out[min(start + block, n) - 1])
    return out


def drift(rng: np.random.Generator, n: int, sd_per_root_year: float, quiet: bool) -> Array:
    """Return a random walk on a one-minute grid with the given sd after one year; zeros when quiet."""
    if quiet:
        return np.zeros(n)
    return np.cumsum(rng.standard_normal(n)) * sd_per_root_year / np.sqrt(365.25 * 1440.0)


def valve_kpa(flow_m3_h: Array, cv: Array | float) -> Array:
    """Return the pressure drop [kPa] of a valve or mixer: (Q/Cv)^2 with Q in gpm and Cv in gpm per root psi, SG 1."""
    return PSI_KPA * (flow_m3_h / GPM_M3_H / cv) ** 2


def cake_pct(u: Array, vs: Array, load: Array, gain: Array | float) -> Array:
    """Return cake total solids [%] at relative dose u, volatile solids [%], load ratio, gain of the arrangement [points]."""
    over = np.maximum(0.0, u - 1.5)
    return 23.5 - 12.0 * np.exp(-2.1 * u) - 2.0 * over**2 - 0.05 * (vs - 64.0) - 0.8 * (load - 1.0) + gain


def loss_share(u: Array, load: Array) -> Array:
    """Return the share of feed solids lost with the filtrate."""
    return (0.03 + 1.2 * np.exp(-3.6 * u)) * np.exp(1.5 * np.maximum(0.0, load - 1.1))


def filtrate_pct(capture: Array, ts_pct: Array, cake_pct: Array, w: Array) -> Array:
    """Return filtrate solids [%] by balance: 1 of sludge and w of water in, capture TS/C of cake out, the rest filtrate."""
    return (1.0 - capture) * ts_pct / (1.0 + w - capture * ts_pct / cake_pct)


def system_head_ft(flow_gpm: Array, valve_psi: Array) -> Array:
    """Return the head [ft] the belt press line asks for: lift, friction, valve."""
    return STATIC_HEAD_FT + SYSTEM_FT_PER_GPM2 * flow_gpm**2 + FT_PER_PSI * valve_psi


def rotodynamic_speed_ratio(flow_gpm: Array, head_ft: Array, wear: Array | float) -> Array:
    """Return n = N/N_ref at which H0 (1 - wear) n^2 - 1.6e-4 Q^2 meets the head."""
    ratio: Array = np.sqrt(np.maximum(head_ft + HEAD_LOSS_FT_PER_GPM2 * flow_gpm**2, 0.0) / (SHUTOFF_HEAD_FT * (1.0 - wear)))
    return ratio


def shaft_kw(flow_gpm: Array, head_ft: Array, efficiency: float) -> Array:
    """Return shaft power [kW]: Q H / 3960 / efficiency in hp, SG 1."""
    return flow_gpm * head_ft / 3960.0 / efficiency * HP_KW


def velocity_head_ft(flow_gpm: Array, bore_in: float) -> Array:
    """Return v^2/2g [ft] in a pipe of the given bore; v [ft/s] = 0.4085 Q / d^2."""
    return (0.4085 * flow_gpm / bore_in**2) ** 2 / 64.348
