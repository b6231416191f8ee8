"""What a perfect pipeline would report: per operating day, per minute, and the constants behind. Noise-free, SI units.

Definitions: processing minutes only (start-up excluded), totals first, ratios of totals; cake and filtrate are what the
day's cake and filtrate would give if all of it were mixed, so that the capture formula closes on them exactly.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from sample_data import truth_kpis
from sample_data.axis import Axis
from sample_data.physics import GPM_M3_H, Array
from sample_data.process import Truth
from sample_data.scenario import TARGET_U, PlantScenario, potency_shift

_RATIOS = (
    "feed_volume_m3", "dry_solids_t", "polymer_active_kg", "wash_water_m3", "energy_kwh", "dose_active_kg_t", "feed_ts_pct", "cake_ts_pct",
    "capture_pct", "filtrate_tss_mg_l", "dilution_ratio", "mixing_dp_kpa", "mixing_dp_ref_kpa", "pump_dp_kpa", "vs_pct", "relative_dose",
)  # fmt: skip


def days(plant: PlantScenario, ax: Axis, t: Truth) -> list[dict[str, Any]]:
    """Return one dict per operating day; totals are 0 and ratios None on days without processing."""
    size, day = len(ax.days), np.maximum(ax.day, 0)
    inside = ax.day >= 0
    on = t.roles["pump_run"] > 0
    starts = on & ~np.concatenate(([True], on[:-1]))
    counts = [np.bincount(day[inside & x], minlength=size) for x in (on, t.processing, starts)]
    sums = _sums(plant, ax, t)
    more = truth_kpis.kpis(plant, ax, t)
    out = []
    for i, date_ in enumerate(ax.days):
        row = {
            "plant": plant.plant, "line": t.line, "operating_day": date_, "run_h": counts[0][i] / 60.0,
            "processing_h": counts[1][i] / 60.0, "starts": int(counts[2][i]), "arm": t.arm[i], "rung": t.rung[i],
        }  # fmt: skip
        out.append(row | more[i] | (_ratios({k: float(v[i]) for k, v in sums.items()}) if counts[1][i] else dict.fromkeys(_RATIOS)))
    for row in out:
        for name in _RATIOS[:5]:
            row[name] = row[name] or 0.0
    return out


def _sums(plant: PlantScenario, ax: Axis, t: Truth) -> dict[str, Array]:
    """Return sums over the processing minutes of each operating day."""
    p, r = t.processing, t.roles
    day, flow = ax.day[p], r["sludge_flow"][p]
    solids = flow * t.sludge.ts_pct[p] / 100.0
    mixing = (r["mixing_upstream_pressure"] - r["mixing_downstream_pressure"])[p]
    water = r["polymer_solution_flow"][p] + (r["wash_water_flow"][p] if plant.wash_dilutes else 0.0)
    per_minute = {
        "minutes": np.ones(len(day)), "fed": flow / 60.0, "solids": solids / 60.0, "active": t.polymer_active_kg_h[p] / 60.0,
        "water": water / 60.0, "wash": r["wash_water_flow"][p] / 60.0, "kept": solids * t.capture[p] / 60.0,
        "cake": solids * t.capture[p] / t.cake_ts_pct[p] * 100.0 / 60.0, "mixing": mixing,
        "mixing_ref": mixing * (plant.reference_flow_m3_h / flow) ** 2, "vs": solids / 60.0 * t.sludge.vs_pct[p],
        "u": solids / 60.0 * t.relative_dose[p], "rise": (r["pump_discharge_pressure"] - r["pump_suction_pressure"])[p],
        "energy": (r["pump_power"] + r["device_power"])[p] / 60.0,
    }  # fmt: skip
    return {k: np.bincount(day, weights=v, minlength=len(ax.days)) for k, v in per_minute.items()}


def _ratios(s: dict[str, float]) -> dict[str, float]:
    filtrate = s["fed"] + s["water"] - s["cake"]  # t = m3
    return {
        "feed_volume_m3": s["fed"], "dry_solids_t": s["solids"], "polymer_active_kg": s["active"], "wash_water_m3": s["wash"],
        "energy_kwh": s["energy"], "dose_active_kg_t": s["active"] / s["solids"], "feed_ts_pct": 100.0 * s["solids"] / s["fed"],
        "cake_ts_pct": 100.0 * s["kept"] / s["cake"], "capture_pct": 100.0 * s["kept"] / s["solids"],
        "filtrate_tss_mg_l": 1e6 * (s["solids"] - s["kept"]) / filtrate, "dilution_ratio": s["water"] / s["fed"],
        "mixing_dp_kpa": s["mixing"] / s["minutes"], "mixing_dp_ref_kpa": s["mixing_ref"] / s["minutes"],
        "pump_dp_kpa": s["rise"] / s["minutes"], "vs_pct": s["vs"] / s["solids"], "relative_dose": s["u"] / s["solids"],
    }  # fmt: skip


def minutes(plant: PlantScenario, ax: Axis, t: Truth) -> pl.DataFrame:
    """Return the true minutes of a line as Float32; process states are null while no sludge is fed."""
    r, fed = t.roles, pl.Series(t.roles["sludge_flow"] > 0)
    units = {"pressure": "kpa", "power": "kw", "speed": "rpm", "flow": "m3_h", "torque": "pct"}
    named = {f"{k}_{units[k.rsplit('_', 1)[1]]}": v for k, v in r.items() if k.rsplit("_", 1)[1] in units}
    states = {
        "solution_strength_pct": t.strength_pct, "polymer_active_kg_h": t.polymer_active_kg_h, "effectiveness": t.effectiveness,
        "relative_dose": t.relative_dose, "cake_ts_pct": t.cake_ts_pct, "capture_pct": 100.0 * t.capture,
        "filtrate_tss_mg_l": t.filtrate_tss_mg_l, "feed_ts_pct": t.sludge.ts_pct, "demand_kg_t": t.sludge.demand_kg_t,
    }  # fmt: skip
    frame = pl.DataFrame({
        "plant": pl.Series([plant.plant]).new_from_index(0, ax.n),
        "line": pl.Series([t.line]).new_from_index(0, ax.n),
        "minute_utc": ax.utc,
        "operating_day": (pl.Series(ax.day) + (ax.days[0] - _EPOCH).days).cast(pl.Int32).cast(pl.Date),
        "pump_on": r["pump_run"] > 0, "device_on": r["device_run"] > 0, "processing": t.processing,
        **{k: pl.Series(v).cast(pl.Float32) for k, v in named.items()},
    })  # fmt: skip
    shown = {k: pl.Series(v).cast(pl.Float32) for k, v in states.items()}
    return frame.with_columns(**{k: pl.select(pl.when(fed).then(v)).to_series() for k, v in shown.items()})


_EPOCH = pl.Series([0]).cast(pl.Date)[0]


def constants(plant: PlantScenario, truths: list[Truth], given: dict[str, Any]) -> str:
    """Return truth/plant.json: what the scenario was built on, as text."""
    q_gpm = plant.reference_flow_m3_h / GPM_M3_H
    lines = {
        line.line: {
            "potency_shift": round(potency_shift(plant, line), 6),
            "effectiveness_ratio_of_new": line.effect_ratio_new,
            "mixing_dp_psi_old": round((q_gpm / line.cv_old) ** 2, 4),
            "mixing_dp_psi_new": round((q_gpm / line.cv_new) ** 2, 4),
            "cake_gain_points": line.cake_gain,
            "change": line.change,
        }
        for line in plant.lines
    }
    about = {
        "plant": plant.plant, "invented": True, "made_with": given, "kappa_per_psi": plant.kappa_per_psi, "demand_kg_t": plant.demand_kg_t,
        "target_relative_dose": TARGET_U, "old_pump_wear": plant.old_wear, "new_pump_wear_per_year": plant.new_wear_per_year,
        "pump": plant.pump, "lines": lines, "notes": {t.line: t.notes for t in truths},
        "meaning": "potency_shift: share of dose the new arrangement saves at equal relative dose and reference flow (negative: costs more); "
        "old_pump_wear: head lost per year (rotodynamic), slip growth per 1,000 run hours (displacement)",
    }  # fmt: skip
    return json.dumps(about, indent=1, sort_keys=True) + "\n"


def write(folder: Path, plant: PlantScenario, ax: Axis, truths: list[Truth], rows: list[dict[str, Any]], given: dict[str, Any]) -> None:
    """Write day.parquet, minute.parquet and plant.json."""
    folder.mkdir(parents=True, exist_ok=True)
    pl.DataFrame(rows, infer_schema_length=None).write_parquet(folder / "day.parquet")
    pl.concat([minutes(plant, ax, t) for t in truths]).write_parquet(folder / "minute.parquet")
    (folder / "plant.json").write_text(constants(plant, truths, given), encoding="utf-8")
