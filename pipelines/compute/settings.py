"""The plant file's settings as small tables that the SQL joins."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import polars as pl

from pipelines.compute import log_settings
from pipelines.plantfile import FAR_FUTURE, Line, PlantFile
from pipelines.sqlfiles import is_news
from pipelines.store import Store
from schemas import TABLES

_LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)


def are_written(store: Store) -> bool:
    """Tell whether the settings were written before; a changed plant file marks days, and they are written again."""
    return bool(store.rows("SELECT count(*) FROM line_settings")[0][0])


def write(store: Store, plant_file: PlantFile) -> None:
    """Replace line_settings, polymers, prices and the logs by what the plant file says now, unless they say so already."""
    plant = store.plant
    rows = {
        "line_settings": [_line(plant, plant_file, line) for line in plant_file.lines],
        "polymers": [row for line in plant_file.lines for row in _polymers(plant, plant_file, line.id)],
        "prices": _prices(plant, plant_file),
        **log_settings.rows(plant, plant_file),
    }
    is_new = is_news(store.con, "settings", repr(rows))
    if not is_new and are_written(store):
        return
    for table, content in rows.items():
        store.con.execute(f"DELETE FROM {table}")
        store.append(table, pl.DataFrame(content, schema=TABLES[table].polars_schema()))


def _line(plant: str, plant_file: PlantFile, line: Line) -> dict[str, Any]:
    p = plant_file.plant
    return {
        "plant": plant, "line": line.id, "plant_name": p.name, "line_name": line.name, "time_zone": p.time_zone,
        "operating_day_start_h": p.operating_day_start.hour + p.operating_day_start.minute / 60.0, "week_start": p.week_start_number,
        "units": p.units, "currency": p.currency, "device": line.device, "device_width_m": line.device_width, "pump_kind": line.pump.kind,
        "startup_min": line.startup_min, "feed_cutoff_m3_h": line.feed_cutoff, "polymer_cutoff_m3_h": line.polymer_cutoff,
        "sludge_sg": line.sludge_sg, "polymer_meter": line.polymer_meter, "reference_flow_m3_h": line.reference_flow,
        "pump_elevation_m": line.pump.gauge_elevation, "mixing_elevation_m": line.mixing_gauge_elevation,
        "suction_pipe_m": line.pump.suction_pipe, "discharge_pipe_m": line.pump.discharge_pipe,
        "solids_hold_tau_h": line.solids_hold_tau, "solids_hold_limit_h": line.solids_hold_limit, "dilution_counted": line.dilution_counted,
    }  # fmt: skip


def _polymers(plant: str, plant_file: PlantFile, line: str) -> list[dict[str, Any]]:
    """Return the products of a line, each valid until the next one begins."""
    mine = sorted((plant_file.instant(x.since, _LONG_AGO), i) for i, x in enumerate(plant_file.polymers) if line in x.lines)
    ends = ([start for start, _ in mine[1:]] + [FAR_FUTURE])[: len(mine)]  # none of either when there is none
    out = []
    for (start, i), end in zip(mine, ends, strict=True):
        x = plant_file.polymers[i]
        out.append({
            "plant": plant, "line": line, "from_utc": start, "to_utc": end, "product": x.product, "form": x.form, "density_kg_m3": x.density,
            "active_fraction": x.active_fraction, "solution_strength_pct": x.solution_strength_pct, "price_per_kg_neat": x.price_neat,
        })  # fmt: skip
    return out


def _prices(plant: str, plant_file: PlantFile) -> list[dict[str, Any]]:
    dated = sorted((plant_file.instant(x.since, _LONG_AGO), i) for i, x in enumerate(plant_file.prices))
    ends = ([start for start, _ in dated[1:]] + [FAR_FUTURE])[: len(dated)]  # none of either when there is none
    out = []
    for (start, i), end in zip(dated, ends, strict=True):
        x = plant_file.prices[i]
        wet = x.disposal_wet * 1000.0 if x.disposal_wet is not None else None
        out.append({
            "plant": plant, "from_utc": start, "to_utc": end, "disposal_per_wet_t": wet, "power_per_kwh": x.power, "water_per_m3": x.water,
            "recycle_per_kg": x.recycle,
        })  # fmt: skip
    return out
