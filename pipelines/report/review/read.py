"""What a pump condition review reads: each pump's weeks, wear statement, reference, service log and flags, from the published file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.plant.model import PlantFile
from pipelines.report.weekly.queries import Row, has, rows
from pipelines.store import connect
from schemas.tables.plant_file_versions import IN_USE

if TYPE_CHECKING:
    import duckdb

PUMPS = "SELECT DISTINCT line, pump FROM pump_condition WHERE plant = $plant ORDER BY line, pump"
WEEKS = "SELECT * FROM pump_condition WHERE plant = $plant AND line = $line AND pump = $pump ORDER BY week_start_day"
WEAR = "SELECT * FROM pump_wear WHERE plant = $plant AND line = $line AND pump = $pump"
# The newest reference, whether or not it still holds.
REFERENCE = """
SELECT * FROM pump_baselines WHERE plant = $plant AND line = $line AND pump = $pump AND measured_day IS NOT NULL ORDER BY from_utc DESC LIMIT 1"""
SERVICE = "SELECT * FROM service_log WHERE plant = $plant AND line = $line AND pump = $pump ORDER BY at_utc"
# Flags of the line that began while this pump was in service, repeats of a cause included.
FLAGS = """
SELECT f.* FROM flags f WHERE f.plant = $plant AND f.line = $line AND EXISTS (
  SELECT 1 FROM pump_spans s WHERE s.plant = f.plant AND s.line = f.line AND s.pump = $pump AND f.start_utc >= s.from_utc AND f.start_utc < s.to_utc)
ORDER BY f.start_utc"""


@dataclass(frozen=True)
class Pump:
    """One pump on one line, as published; `wear` is its row of pump_wear, None where it is not computed."""

    line: str
    line_name: str
    pump: str
    weeks: tuple[Row, ...]
    wear: Row | None
    reference: Row | None
    service: tuple[Row, ...]
    flags: tuple[Row, ...]


@dataclass(frozen=True)
class Review:
    """A plant's pumps; `known_utc` is when the latest file behind the published data was received."""

    plant: str
    name: str
    zone: ZoneInfo
    known_utc: datetime
    plant_file_id: str
    data_version: str
    pumps: tuple[Pump, ...]


def review(home: Home, plant_file: PlantFile) -> Review:
    """Read the pumps of a plant; DataMissingError without any."""
    plant = plant_file.plant.id
    con = connect(home.database, read_only=True)
    try:
        found = rows(con, PUMPS, plant=plant)
        known = rows(con, "SELECT max(received_utc) AS known FROM loads WHERE plant = $plant", plant=plant)[0]["known"]
        if not found or known is None:
            raise DataMissingError(
                f"no pump of {plant} is published", remedy="run `flocledger nightly` first; `flocledger status` shows what is there"
            )
        names = {line.id: line.name for line in plant_file.lines}
        pumps = tuple(_pump(con, plant, row["line"], names.get(row["line"]) or row["line"], row["pump"]) for row in found)
        file_id = next((r["plant_file_id"] for r in rows(con, IN_USE, plant=plant)), "-")
    finally:
        con.close()
    versions = sorted({p.weeks[-1]["data_version"] for p in pumps if p.weeks})
    return Review(plant, plant_file.plant.name, ZoneInfo(plant_file.plant.time_zone), known, file_id, ", ".join(versions), pumps)


def _pump(con: duckdb.DuckDBPyConnection, plant: str, line: str, line_name: str, pump: str) -> Pump:
    key = {"plant": plant, "line": line, "pump": pump}
    return Pump(
        line, line_name, pump, tuple(rows(con, WEEKS, **key)),
        next(iter(rows(con, WEAR, **key)), None) if has(con, "pump_wear") else None,
        next(iter(rows(con, REFERENCE, **key)), None),
        tuple(rows(con, SERVICE, **key)),
        tuple(rows(con, FLAGS, **key)),
    )  # fmt: skip
