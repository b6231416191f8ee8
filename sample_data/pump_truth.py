"""What the pumps truly lost: wear of the rotodynamic and slip growth of the displacement pumps, and the index a perfect pipeline would report.

`weeks` takes the windows of the commissioning references of the plant file (feed TS by the day's mean, speed 60-110 % of
the reference) and the median over processing minutes, from the true state of each minute.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np

from sample_data import instruments, process
from sample_data import physics as ph
from sample_data.axis import Axis
from sample_data.operators import Bools
from sample_data.physics import GPM_M3_H, Array
from sample_data.process import Truth
from sample_data.scenario import PlantScenario


def minute_index(plant: PlantScenario, ax: Axis, t: Truth) -> tuple[Array, Array]:
    """Return (loss, index) of each minute: head lost at shut-off as a share and H/H_new at the same flow, or slip growth and k/k0.

    Thick sludge slips less: the slip index holds that factor too, as a plain ratio of slips does.
    """
    on, new = t.roles["pump_run"] > 0, t.arm[np.maximum(ax.day, 0)] > 0
    if plant.pump == "rotodynamic":
        wear = process.wear_share(plant, ax, new)
        ratio = np.where(t.roles["pump_speed"] > 0, t.roles["pump_speed"] / ph.REFERENCE_RPM, np.inf)
        fall = ph.HEAD_LOSS_FT_PER_GPM2 * (t.roles["sludge_flow"] / GPM_M3_H / ratio) ** 2
        return wear, (ph.SHUTOFF_HEAD_FT * (1.0 - wear) - fall) / (ph.SHUTOFF_HEAD_FT - fall)
    growth = process.slip_growth(plant, ax, on, new)
    return growth - 1.0, growth * process.thin_factor(plant, t.sludge)


def weeks(plant: PlantScenario, ax: Axis, truths: list[Truth], days: dict[str, list[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Return one dict per line, pump in service and week (7 operating days from the first).

    Medians over the comparable minutes; None without any.
    """
    out = []
    for t in truths:
        loss, index = minute_index(plant, ax, t)
        served = t.arm[np.maximum(ax.day, 0)] > 0
        for pump, is_mine in ((_pump(plant.plant, t.line, is_new=False), ~served), (_pump(plant.plant, t.line, is_new=True), served)):
            usable = t.processing & is_mine & _in_window(ax, [r["feed_ts_pct"] for r in days[t.line]], _window(plant.plant, pump))
            if plant.pump == "rotodynamic":
                share = t.roles["pump_speed"] / ph.REFERENCE_RPM
                usable &= (share >= 0.6) & (share <= 1.1)
            for first in range(0, len(ax.days), 7):
                in_week = (ax.day >= first) & (ax.day < first + 7)
                if not (in_week & is_mine).any():
                    continue
                mine = usable & in_week
                shown = (float(np.median(loss[mine])), float(np.median(index[mine]))) if mine.any() else (None, None)
                out.append({
                    "plant": plant.plant, "line": t.line, "pump": pump, "week_start_day": ax.days[0] + timedelta(days=first),
                    "index_minutes": int(mine.sum()), "loss": shown[0], "index": shown[1],
                })  # fmt: skip
    return out


def _pump(plant_id: str, line: str, *, is_new: bool) -> str:
    """Return the id of the pump of the new arrangement of a line, else that of the line."""
    told = instruments.plant_file(plant_id)
    own: str = next(x["pump"]["id"] for x in told["lines"] if x["id"] == line)
    return next((x["pump"] for x in told["arrangements"] if x["line"] == line and "pump" in x), own) if is_new else own


def _window(plant_id: str, pump: str) -> list[float]:
    """Return the window of feed solids [%] of a pump's reference."""
    found: list[float] = next(b["ts_window"] for b in instruments.plant_file(plant_id)["baselines"] if b["pump"] == pump)
    return found


def _in_window(ax: Axis, ts_pct: list[float | None], window: list[float]) -> Bools:
    inside = np.array([ts is not None and window[0] <= ts <= window[1] for ts in ts_pct])
    result: Bools = (ax.day >= 0) & inside[np.maximum(ax.day, 0)]
    return result
