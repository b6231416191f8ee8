"""Money per tonne of dry solids at one declared operating point an arm; what use and what price did apart; annual range; payback.

Cost per tonne of feed solids = p_polymer d + p_haul R / C + p_recycle 1000 (1 - R) + p_power e. A dose saving at equal cake is never added to a
cake gain at equal dose: both arms stand at their own point (d, C, R, e together).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.compare.gls import Array


@dataclass(frozen=True)
class Prices:
    """Prices in the plant's currency: active polymer per kg, wet cake per t, recycled solids per kg, power per kWh (null: not counted)."""

    polymer_per_kg: float
    disposal_per_wet_t: float
    recycle_per_kg: float | None = None
    power_per_kwh: float | None = None


@dataclass(frozen=True)
class Point:
    """Operating point of an arm: dose [kg/t], cake [%], capture [%], specific energy [kWh/t] (null: not counted)."""

    dose_kg_t: float | Array
    cake_pct: float | Array
    capture_pct: float | Array
    energy_kwh_t: float | Array | None = None


def parts_per_t(point: Point, prices: Prices) -> dict[str, float | Array]:
    """Return cost per tonne of feed solids by part."""
    found: dict[str, float | Array] = {
        "polymer": prices.polymer_per_kg * point.dose_kg_t,
        "haul and disposal": prices.disposal_per_wet_t * point.capture_pct / point.cake_pct,
    }
    if prices.recycle_per_kg is not None:
        found["recycle"] = prices.recycle_per_kg * 1000.0 * (1.0 - point.capture_pct / 100.0)
    if prices.power_per_kwh is not None and point.energy_kwh_t is not None:
        found["power"] = prices.power_per_kwh * point.energy_kwh_t
    return found


def saving_per_t(old: Point, new: Point, prices: Prices) -> dict[str, float | Array]:
    """Return what the new arm saves per tonne by part, and in all; each arm at its own point."""
    before, after = parts_per_t(old, prices), parts_per_t(new, prices)
    found = {name: before[name] - after[name] for name in before if name in after}
    found["in all"] = sum(found.values())
    return found


def use_and_price(dose_old: float, dose_new: float, price_old: float, price_new: float) -> tuple[float, float]:
    """Return the change of polymer cost per tonne by use, (d_A - d_B) p_A, and by price, d_B (p_A - p_B)."""
    return (dose_old - dose_new) * price_old, dose_new * (price_old - price_new)


def annual(per_t: tuple[float, float, float], solids_t: tuple[float, float, float], new_cost: float) -> tuple[float, float, float]:
    """Return the annual saving (estimate, low, high): interval of the saving times the range of solids, the worst and best corner."""
    corners = [per_t[i] * solids_t[j] for i in (1, 2) for j in (0, 2)]
    return per_t[0] * solids_t[1] - new_cost, min(corners) - new_cost, max(corners) - new_cost


def payback_years(installed: tuple[float, float], saving: tuple[float, float, float]) -> tuple[float, float]:
    """Return the shortest and longest simple payback; infinite where the saving may be none."""
    low = installed[0] / saving[2] if saving[2] > 0.0 else np.inf
    high = installed[1] / saving[1] if saving[1] > 0.0 else np.inf
    return float(low), float(high)
