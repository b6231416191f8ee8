"""Write the plant file's settings as small tables for SQL joins."""

from __future__ import annotations

from typing import Any

import polars as pl

from pipelines.compute import log_settings, uncertainty
from pipelines.plant import registers
from pipelines.plant.calendar import FAR_FUTURE
from pipelines.plant.model import Line, PlantFile
from pipelines.store import Store, schema_check
from pipelines.store.sql_files import note_changed
from schemas import TABLES

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
SPLIT_ROLES = ("polymer_neat_flow", "polymer_solution_flow", "makedown_water_flow", "dilution_water_flow")


def are_written(store: Store) -> bool:
    """Return whether the settings have been written."""
    return bool(store.rows("SELECT count(*) FROM line_settings")[0][0])


def write(store: Store, plant_file: PlantFile) -> None:
    """Replace the tables of settings and logs by what the plant file says now, unless they hold it already.

    PlantFileError, and nothing replaced, when a row does not fit its table.
    """
    tables = rows(plant_file)
    is_new = note_changed(store.con, "settings", repr(tables))
    if not is_new and are_written(store):
        return
    for table, frame in fitting(plant_file, tables).items():
        store.con.execute(f"DELETE FROM {table}")
        store.append(table, frame)


def rows(plant_file: PlantFile) -> dict[str, list[dict[str, Any]]]:
    """Return the rows of every table made from the plant file: settings, planned times, polymers, prices, uncertainty and logs."""
    plant = plant_file.plant.id
    return {
        "line_settings": [_line(plant, plant_file, line) for line in plant_file.lines],
        "planned_times": [row for line in plant_file.lines for row in _planned(plant, line)],
        "polymers": [row for line in plant_file.lines for row in _polymers(plant, plant_file, line.id)],
        "prices": _prices(plant, plant_file),
        **log_settings.rows(plant, plant_file),
        "uncertainty_inputs": uncertainty.rows(plant, plant_file),
    }


def fitting(plant_file: PlantFile, tables: dict[str, list[dict[str, Any]]] | None = None) -> dict[str, pl.DataFrame]:
    """Return the tables made from the plant file as frames; PlantFileError at the first row that does not fit its table."""
    made = rows(plant_file) if tables is None else tables
    frames = {table: pl.DataFrame(content, schema=TABLES[table].polars_schema()) for table, content in made.items()}
    for table, frame in frames.items():
        schema_check.require_plant_rows(plant_file.plant.id, table, frame)
    return frames


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
        "suction_minimum_kpa": line.pump.suction_minimum, "discharge_maximum_kpa": line.pump.discharge_maximum,
        "drive_efficiency": line.pump.drive_efficiency, "sludge_viscosity_mpa_s": line.sludge_viscosity_mpa_s,
        "mixing_volume_l": None if line.mixing_volume is None else line.mixing_volume * 1000.0, "polymer_tank_m3": line.polymer_tank,
        "register_flows": " ".join(registers.flows_by_register(plant_file, line)) or None, **_shared(plant_file, line),
    }  # fmt: skip


def _shared(plant_file: PlantFile, line: Line) -> dict[str, str | None]:
    """Return the polymer meters that the line shares with other lines, those lines, and the rule of the split; empty without a shared meter.

    A tag tied to two lines by two blocks is shared as well: without a rule its flow would count twice. Of rules that
    differ "refuse" stands.
    """
    roles, others, rules = list[str](), set[str](), set[str]()
    for role in SPLIT_ROLES:
        flows = [s for s in plant_file.signals if s.role == role]
        tags = {s.tag for s in flows if line.id in (s.line, *s.shared_by)}
        shared = [s for s in flows if s.tag in tags and {s.line, *s.shared_by} != {line.id}]
        if shared:
            roles.append(role)
            others |= {name for s in shared for name in (s.line, *s.shared_by)} - {line.id}
            rules |= {s.split for s in shared}
    if not roles:
        return dict.fromkeys(("shared_roles", "shared_group", "shared_with", "shared_split"))
    return {
        "shared_roles": " ".join(roles), "shared_group": ", ".join(sorted({line.id, *others})), "shared_with": ", ".join(sorted(others)),
        "shared_split": rules.pop() if len(rules) == 1 else "refuse",
    }  # fmt: skip


def _planned(plant: str, line: Line) -> list[dict[str, Any]]:
    """Return the planned times of a line by weekday; a span past midnight continues at 0 h of the next day."""
    spans = set[tuple[int, int, int]]()
    for block in line.planned:
        start, end = (t.hour * 60 + t.minute for t in (block.start, block.end))
        for name in block.days:
            day = WEEKDAYS.index(name) + 1
            spans.add((day, start, end if end > start else 1440))
            if start >= end > 0:
                spans.add((day % 7 + 1, 0, end))
    merged: dict[tuple[int, int], int] = {}
    for day, start, end in spans:  # one row a start, as the key asks
        merged[day, start] = max(end, merged.get((day, start), 0))
    return [{"plant": plant, "line": line.id, "iso_weekday": d, "from_min": s, "to_min": e} for (d, s), e in sorted(merged.items())]


def _polymers(plant: str, plant_file: PlantFile, line: str) -> list[dict[str, Any]]:
    """Return the polymer products of a line, each valid until the next one starts."""
    mine = sorted((plant_file.calendar.since(x.since), i) for i, x in enumerate(plant_file.polymers) if line in x.lines)
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
    dated = sorted((plant_file.calendar.since(x.since), i) for i, x in enumerate(plant_file.prices))
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
