"""The same night's work as a careful script with pandas: what an engineer without flocledger might write.

It reads the long export, takes good readings within their range, drops doubles, makes minute means, tells running and
processing minutes, and sums dose, run hours, mixing pressure and energy by line and day, with a feed TS of one lab sample
a day. Readings and days go to Parquet. It keeps no history, sets nothing aside with a reason, holds no values across
gaps, and cannot go on where it was killed: it is the least that gives these numbers.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

STARTUP_MIN = 15  # of a belt press, as the plant file's default
DENSITY_KG_M3, ACTIVE = 1030.0, 0.41
FEED_CUTOFF_M3_H, POLYMER_CUTOFF_M3_H = 5.0, 0.002
WATER_KPA_M = 0.0  # gauges stand at one height in the bench plant


def night(file: Path, out: Path, roles: dict[str, tuple[str, str, float, float, float]], feed_ts_pct: float) -> pd.DataFrame:
    """Do the work; `roles`: tag -> (line, role, factor to SI, low, high as written). Returns one row a line and day."""
    raw = pd.read_csv(file, dtype={"tag": "category", "value": str, "quality": "category"})
    raw["time"] = pd.to_datetime(raw["time"], format="ISO8601", utc=True)
    raw["number"] = pd.to_numeric(raw["value"], errors="coerce")
    known = (
        pd.DataFrame.from_dict(roles, orient="index", columns=["line", "role", "factor", "low", "high"]).rename_axis("tag").reset_index()
    )
    rows = raw[(raw["quality"] == "Good") & raw["number"].notna() & raw["time"].notna()].merge(known, on="tag", how="inner")
    rows = rows[rows["number"].between(rows["low"], rows["high"])]
    rows = rows.drop_duplicates(["tag", "time"], keep="last")
    rows["si"] = rows["number"] * rows["factor"]
    rows[["tag", "time", "si"]].sort_values(["tag", "time"]).to_parquet(out / "pandas_readings.parquet", compression="zstd", index=False)
    rows["minute"] = rows["time"].dt.floor("min")
    minutes = rows.pivot_table(index=["line", "minute"], columns="role", values="si", aggfunc="mean", observed=True).reset_index()
    days = by_day(minutes, feed_ts_pct)
    days.to_parquet(out / "pandas_days.parquet", compression="zstd", index=False)
    return days


def by_day(minutes: pd.DataFrame, feed_ts_pct: float) -> pd.DataFrame:
    """Return totals and ratios by line and day from minute means (columns are roles, SI)."""
    m = minutes.sort_values(["line", "minute"])
    running = m["pump_run"] >= 0.5
    feeding = running & (m["sludge_flow"] > FEED_CUTOFF_M3_H)
    fed = feeding.groupby(m["line"]).cumsum()
    broken = fed.where(~feeding).groupby(m["line"]).ffill().fillna(0)  # what went before the first minute is not known: a start
    processing = feeding & (m["device_run"] >= 0.5) & (m["polymer_neat_flow"] > POLYMER_CUTOFF_M3_H) & (fed - broken > STARTUP_MIN)
    p = m[processing].assign(day=m["minute"].dt.date)
    p = p.assign(
        dry_solids_t=p["sludge_flow"] / 60.0 * feed_ts_pct / 100.0,
        active_kg=p["polymer_neat_flow"] / 60.0 * DENSITY_KG_M3 * ACTIVE,
        mixing_kpa=p["mixing_upstream_pressure"] - p["mixing_downstream_pressure"] + WATER_KPA_M,
        energy_kwh=(p["pump_power"] + p["device_power"]) / 60.0,
    )
    days = p.groupby(["line", "day"]).agg(
        valid_minutes=("minute", "size"),
        dry_solids_t=("dry_solids_t", "sum"),
        polymer_active_kg=("active_kg", "sum"),
        mixing_dp_kpa=("mixing_kpa", "mean"),
        energy_kwh=("energy_kwh", "sum"),
    )
    run_h = m.assign(day=m["minute"].dt.date).groupby(["line", "day"])["pump_run"].sum() / 60.0
    return days.assign(dose_active_kg_t=days["polymer_active_kg"] / days["dry_solids_t"], run_h=run_h).reset_index()
