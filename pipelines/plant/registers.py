"""Totaliser registers to increments: rollover, reset and impossible jumps told apart; how far an increment may reach."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from pipelines.base import units
from pipelines.plant import limits
from pipelines.plant.model import Line, PlantFile, Signal

NEAR_CAP, NEAR_ZERO = 0.9, 0.1  # a rollover falls from above 0.9 to below 0.1 of the capacity (common practice, no source)
RATE_MARGIN = 1.2  # largest believable rate over the stated maximum (common practice, no source)
NORMAL, ROLLOVER, RESET, IMPOSSIBLE = 0, 1, 2, 3
# The meter whose range top is the largest rate of a register when the plant file gives none. A line has one polymer meter that
# counts; where both exist the larger is taken. Energy registers count drives without a meter of their own: no default.
METERS = {"sludge_total": ("sludge_flow",), "polymer_total": ("polymer_neat_flow", "polymer_solution_flow")}


def largest_rate(role: str, signals: Iterable[Signal]) -> float | None:
    """Return the range top [unit/h] of the meter beside a register, from the signals of its line; None without one."""
    tops = [units.to_si(s.range[1], s.unit) for s in signals if s.role in METERS[role] and s.range is not None]
    return max(tops, default=None)


def flows_by_register(plant_file: PlantFile, line: Line) -> dict[str, str]:
    """Return flow role -> register role of a line that has the register and no flow meter of that role at any time.

    The rate of the register then is the flow. A polymer register counts for the meter that the line's `polymer_meter` names.
    """
    roles = {signal.role for signal in plant_file.signals_of(line.id)}
    polymer = "polymer_neat_flow" if line.polymer_meter == "neat" else "polymer_solution_flow"
    pairs = {"sludge_flow": "sludge_total", polymer: "polymer_total"}
    return {flow: total for flow, total in pairs.items() if total in roles and flow not in roles}


def reach(signal: Signal) -> timedelta:
    """Return over how much time an increment of a register may reach: its hold limit when stated, else 30 minutes."""
    return min(timedelta(microseconds=signal.hold_us), limits.LONGEST_HOLD) if signal.hold_limit is not None else limits.LONGEST_REACH


def longest_reach(signals: Sequence[Signal]) -> timedelta:
    """Return how far the increments of any of these signals reach, at least 30 minutes."""
    return max((reach(s) for s in signals if s.meaning.kind == "totaliser"), default=limits.LONGEST_REACH)


def increments(
    times_us: NDArray[np.int64], values: NDArray[np.float64], cap: float | None, max_rate: float | None
) -> tuple[NDArray[np.float64], NDArray[np.int8]]:
    """Return (increment from the reading before, verdict) per reading; the first has increment nan, verdict normal.

    `values` register [m3 or kWh], `cap` capacity in the same unit or None, `max_rate` largest true rate [unit/h] or None.
    A fall is a rollover when it goes from near the cap to near zero at a believable rate, a reset when the new value
    itself is believable as flow since the last reading (counted as that, a lower bound), else impossible (nan): a register
    that ran backwards, or another one. A rise above the believable rate is impossible (nan). Without a largest rate nothing
    tells a reset from a replaced register: a fall is then a rollover or impossible. Common practice, no source.
    """
    step = np.diff(values, prepend=np.nan)
    hours = np.diff(times_us.astype(np.float64), prepend=np.nan) / 3.6e9
    most = np.full(len(values), np.inf) if max_rate is None else RATE_MARGIN * max_rate * hours
    before = np.concatenate(([np.nan], values[:-1])) if len(values) else values
    verdict = np.zeros(len(values), dtype=np.int8)
    out = step.copy()
    with np.errstate(invalid="ignore"):
        falls = step < 0
        rolled = np.zeros(len(values), dtype=bool)
        if cap is not None:
            wrapped = values + cap - before
            rolled = falls & (before > NEAR_CAP * cap) & (values >= 0) & (values < NEAR_ZERO * cap) & (wrapped <= most)
            out = np.where(rolled, wrapped, out)
        reset = falls & ~rolled & (values >= 0) & (values <= most) & np.isfinite(most)  # no register reads below zero
        impossible = (falls & ~rolled & ~reset) | (step > most)
    out = np.where(reset, values, out)
    out = np.where(impossible, np.nan, out)
    verdict[rolled], verdict[reset], verdict[impossible] = ROLLOVER, RESET, IMPOSSIBLE
    return out, verdict
