"""Mutual evidence of the meters of one line and day: sums and medians over the minutes in which both are known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from pipelines.plant import registers
from pipelines.watch.episodes import Mask, Values
from pipelines.watch.line_day import RUNNING, LineDay


@dataclass(frozen=True)
class DayFacts:
    """One row of `meter_days` before plant and data version are added; null where no minute could be compared."""

    line: str
    operating_day: date
    flow_minutes: int = 0
    flow_median_m3_h: float | None = None
    pump_minutes: int = 0
    pumped_m3: float | None = None
    revolutions: float | None = None
    duty_minutes: int = 0
    duty_flow_m3_h: float | None = None
    duty_speed_rpm: float | None = None
    duty_rise_kpa: float | None = None
    duty_rise_mean_kpa: float | None = None
    sludge_register_minutes: int = 0
    sludge_register_m3: float | None = None
    sludge_rate_m3: float | None = None
    polymer_register_minutes: int = 0
    polymer_register_m3: float | None = None
    polymer_rate_m3: float | None = None
    online_ts_minutes: int = 0
    online_ts_pct: float | None = None

    def row(self, plant: str, data_version: str) -> dict[str, Any]:
        """Return the row of `meter_days`."""
        return {"plant": plant, **vars(self), "data_version": data_version}


def of_day(day: LineDay) -> DayFacts:
    """Return what can be compared on a day; flows in m3/h, sums of a flow over minutes in m3."""
    series, processing, running = day.series, day.is_state("processing"), day.is_state(*RUNNING)
    flow, speed, online = series["sludge_flow"], series["pump_speed"], series["feed_solids"]
    suction, discharge = series["pump_suction_pressure"], series["pump_discharge_pressure"]
    flowing = processing & flow.known
    turning = flowing & speed.known & (speed.values > 0)
    duty = turning & suction.known & discharge.known
    rise = discharge.values - suction.values
    solids = processing & online.known
    return DayFacts(
        day.line.id,
        day.day,
        **_counted("flow", flowing, {"flow_median_m3_h": _median(flow.values, flowing)}),
        **_counted("pump", turning, {"pumped_m3": _total(flow.values, turning), "revolutions": _sum(speed.values, turning)}),
        **_counted(
            "duty",
            duty,
            {
                "duty_flow_m3_h": _median(flow.values, duty),
                "duty_speed_rpm": _median(speed.values, duty),
                "duty_rise_kpa": _median(rise, duty),
                "duty_rise_mean_kpa": float(rise[duty].mean()) if duty.any() else None,
            },
        ),
        **_register(day, "sludge", running),
        **_register(day, "polymer", running),
        **_counted("online_ts", solids, {"online_ts_pct": _median(online.values, solids)}),
    )


def _register(day: LineDay, of: str, running: Mask) -> dict[str, Any]:
    """Return the increments of a register and the sum of the one meter beside it, over running minutes with both known."""
    meters = [m for m in registers.METERS[f"{of}_total"] if m in day.has]
    if len(meters) != 1 or f"{of}_total" not in day.has:
        return {}
    increments, rate = day.series[f"{of}_total"], day.series[meters[0]]
    both = running & increments.known & rate.known
    sums = {f"{of}_register_m3": _sum(increments.values, both), f"{of}_rate_m3": _total(rate.values, both)}
    return _counted(f"{of}_register", both, sums)


def _counted(name: str, minutes: Mask, facts: dict[str, float | None]) -> dict[str, Any]:
    return {f"{name}_minutes": int(minutes.sum()), **facts}


def _median(values: Values, minutes: Mask) -> float | None:
    return float(np.median(values[minutes])) if minutes.any() else None


def _sum(values: Values, minutes: Mask) -> float | None:
    return float(values[minutes].sum()) if minutes.any() else None


def _total(flow: Values, minutes: Mask) -> float | None:
    """Return a flow [m3/h] summed over minutes [m3]; below zero counts as zero."""
    return float(np.maximum(flow[minutes], 0.0).sum() / 60.0) if minutes.any() else None
