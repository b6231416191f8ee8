"""What a perfect pipeline would report per operating day, from the true minute signals."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from sample_data import physics as ph
from sample_data.scenario import PlantScenario
from sample_data.simulate import Axis, Truth


def days(plant: PlantScenario, ax: Axis, t: Truth) -> list[dict[str, Any]]:
    """Return one dict per operating day, in SI units: totals over processing minutes, ratios of totals."""
    to_m3_h = 60.0 * ph.GAL_M3 if plant.us else 1.0
    kpa = ph.PSI_KPA if plant.us else 100.0
    q = t.flow * to_m3_h
    solution = t.solution * (60.0 * ph.GAL_M3 if plant.us else 1.0)
    wash = t.wash * (60.0 * ph.GAL_M3 if plant.us else 1.0)
    active = t.neat * (plant.density * plant.active) * (ph.LB_KG if plant.us else 1.0) if plant.polymer_meter == "neat" else solution * 1000.0 * plant.strength_pct / 100.0
    starts = t.pump_on & ~np.concatenate(([False], t.pump_on[:-1]))
    starts[0] = False
    dp = (t.p1 - t.p2) * kpa
    ref = plant.reference_flow * to_m3_h
    out = []
    for i, day in enumerate(ax.days):
        now = ax.day_index == i
        p = now & t.processing
        row: dict[str, Any] = {
            "plant": plant.plant, "line": t.line, "operating_day": day,
            "run_h": t.pump_on[now].sum() / 60.0, "processing_h": p.sum() / 60.0, "starts": int(starts[now].sum()), "arm": float(t.arm[now].max()),
        }  # fmt: skip
        out.append(row | (_processed(p, q, solution, wash, active, dp, ref, kpa, plant, t) if p.any() else {}))
    return out


def _processed(p: Any, q: Any, solution: Any, wash: Any, active: Any, dp: Any, ref: float, kpa: float, plant: PlantScenario, t: Truth) -> dict[str, float]:
    fed = q[p].sum() / 60.0
    solids = (q[p] * t.ts[p] / 100.0).sum() / 60.0
    water = ((solution[p] + (wash[p] if plant.dilution == "polymer and wash" else 0.0)).sum()) / 60.0
    kept = (q[p] * t.ts[p] / 100.0 * t.capture[p]).sum() / 60.0
    cake_wet = (q[p] * t.ts[p] / t.cake[p] * t.capture[p]).sum() / 60.0
    filtrate = fed + water - cake_wet
    return {
        "feed_volume_m3": fed,
        "dry_solids_t": solids,
        "polymer_active_kg": active[p].sum() / 60.0,
        "dose_active_kg_t": active[p].sum() / 60.0 / solids,
        "feed_ts_pct": 100.0 * solids / fed,
        "cake_ts_pct": 100.0 * kept / cake_wet,
        "capture_pct": 100.0 * kept / solids,
        "filtrate_tss_mg_l": (solids - kept) / filtrate * 1e6,
        "dilution_ratio": water / fed,
        "mixing_dp_kpa": dp[p].mean(),
        "mixing_dp_ref_kpa": (dp[p] * (ref / q[p]) ** 2).mean(),
        "pump_dp_kpa": ((t.p_discharge - t.p_suction)[p] * kpa).mean(),
        "energy_kwh": (t.pump_kw[p] + t.device_kw[p]).sum() / 60.0,
    }


def minutes(ax: Axis, t: Truth) -> pl.DataFrame:
    """Return the true minute signals of a line, in the plant's own units."""
    names = ("pump_on", "device_on", "flow", "neat", "solution", "wash", "ts", "p1", "p2", "cake", "capture", "processing")
    return pl.DataFrame({"minute_utc": ax.utc, "line": [t.line] * ax.n, **{n: getattr(t, n) for n in names}})
