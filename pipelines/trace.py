"""From a published number back to minutes, readings, file and line.

Sits beside `order`: it asks the published file and the store, and has `receive` read the archived original again.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipelines import packaged, plantfile
from pipelines.errors import DataMissingError, UsageError
from pipelines.home import Home
from pipelines.plantfile import PlantFile
from pipelines.store import Store, connect
from schemas import TABLES
from schemas.roles import ROLES

# Which roles feed which column; the rest of a KPI row has all of the line's roles behind it.
_ROLES_OF = {
    "dose": ("sludge_flow", "polymer_neat_flow", "polymer_solution_flow", "polymer_solution_strength"),
    "polymer": ("polymer_neat_flow", "polymer_solution_flow", "polymer_solution_strength"),
    "feed": ("sludge_flow",),
    "sludge": ("sludge_flow",),
    "dry_solids": ("sludge_flow",),
    "mixing": ("mixing_upstream_pressure", "mixing_downstream_pressure", "sludge_flow"),
    "pump": ("pump_suction_pressure", "pump_discharge_pressure", "sludge_flow"),
    "run": ("pump_run",),
    "starts": ("pump_run",),
    "energy": ("pump_power", "device_power"),
}


@dataclass(frozen=True)
class ReadingFrom:
    """One reading with the place it came from."""

    role: str
    tag: str
    time_utc: datetime
    value: float | None
    quality: int
    file_name: str
    archived_as: str
    line_no: int | None
    raw_text: str | None


@dataclass(frozen=True)
class Trace:
    """A published number and everything behind it."""

    column: str
    value: Any
    unit: str
    meaning: str
    row: dict[str, Any]
    formula: str
    minute_utc: datetime
    minute: dict[str, Any]
    readings: tuple[ReadingFrom, ...]
    lab: pl.DataFrame
    loads: pl.DataFrame
    valid_minutes: pl.DataFrame  # minute_utc and the columns concerned


def run(home: Home, plant_id: str, line: str, day: date, column: str, *, minute: datetime | None = None) -> Trace:
    """Trace one column of `kpi_day`; `minute` chooses the minute shown (default: the first processing minute).

    UsageError for an unknown column, DataMissingError when the day or line is not there.
    """
    table = TABLES["kpi_day"]
    if column not in table.column_names:
        raise UsageError(
            f"kpi_day has no column {column}", remedy="`flocledger ask \"FROM dictionary WHERE table_name = 'kpi_day'\"` lists them"
        )
    described = next(c for c in table.columns if c.name == column)
    row = _published_row(home, plant_id, line, day)
    plant_file = plantfile.load(home.plant_file(plant_id))
    with Store(home.store(plant_id), plant_id) as store:
        minutes = _minutes(store, line, day, column)
        if minutes.height == 0:
            raise DataMissingError(f"no minutes of {line} on {day}", remedy="choose a day with processing")
        shown = minute or minutes["minute_utc"][0]
        readings = _readings(home, store, plant_file, line, shown, column)
        lab = store.frame(
            "SELECT * FROM lab_results WHERE line = $line AND (operating_day BETWEEN $a AND $b "
            "OR time_basis = 'composite' AND operating_day > $b AND from_utc < (SELECT max(minute_utc) FROM minutes WHERE operating_day = $b)) "
            "ORDER BY from_utc, sample_id, analyte",
            line=line,
            a=day - timedelta(days=3),
            b=day,
        )
        loads = store.frame(
            "SELECT l.load_id, l.file_name, l.archived_as, l.received_utc, l.rows_read, l.rows_kept, l.rows_set_aside FROM loads l JOIN load_days d USING (load_id) WHERE d.operating_day = $day ORDER BY l.received_seq",
            day=day,
        )
        one = store.frame("SELECT * FROM minutes WHERE line = $line AND minute_utc = $m", line=line, m=shown)
    formula = (packaged.folder("sql") / "tables" / "kpi_day.sql").read_text(encoding="utf-8")
    head = "\n".join(text for text in formula.splitlines() if text.startswith("--"))
    return Trace(
        column,
        row[column],
        described.unit,
        described.description,
        row,
        head,
        shown,
        one.to_dicts()[0] if one.height else {},
        readings,
        lab,
        loads,
        minutes,
    )


def _published_row(home: Home, plant_id: str, line: str, day: date) -> dict[str, Any]:
    con = connect(home.database, read_only=True)
    try:
        rows = (
            con.sql(
                "SELECT * FROM kpi_day WHERE plant = $plant AND line = $line AND operating_day = $day",
                params={"plant": plant_id, "line": line, "day": day},
            )
            .pl()
            .to_dicts()
        )
    finally:
        con.close()
    if not rows:
        raise DataMissingError(
            f"nothing is published for {plant_id} {line} on {day}", remedy="`flocledger status` shows which days there are"
        )
    return dict(rows[0])


def roles_behind(column: str) -> tuple[str, ...]:
    """Return the roles that feed a KPI column."""
    return next((roles for start, roles in _ROLES_OF.items() if column.startswith(start)), tuple(ROLES))


def _minutes(store: Store, line: str, day: date, column: str) -> pl.DataFrame:
    shown = ", ".join(ROLES[r].column for r in roles_behind(column))
    return store.frame(
        f"SELECT minute_utc, state, {shown} FROM minutes WHERE line = $line AND operating_day = $day AND state = 'processing' ORDER BY minute_utc",
        line=line,
        day=day,
    )


def _readings(home: Home, store: Store, plant_file: PlantFile, line: str, minute: datetime, column: str) -> tuple[ReadingFrom, ...]:
    """Return, per tag concerned, the last reading at or before the minute's start and those inside the minute."""
    roles = roles_behind(column)
    tags = {s.tag: s.role for s in plant_file.signals if s.line == line and s.role in roles}
    found = store.frame(
        "SELECT r.tag, r.time_utc, r.value, r.quality, l.file_name, l.archived_as, l.layout FROM readings r JOIN loads l USING (load_id) "
        "WHERE r.tag IN (SELECT unnest($tags)) AND r.time_utc BETWEEN $m::TIMESTAMPTZ - INTERVAL 1 DAY AND $m::TIMESTAMPTZ + INTERVAL 59999999 MICROSECOND "
        "QUALIFY r.time_utc >= $m::TIMESTAMPTZ OR row_number() OVER (PARTITION BY r.tag, r.time_utc >= $m::TIMESTAMPTZ ORDER BY r.time_utc DESC) = 1 "
        "ORDER BY r.tag, r.time_utc",
        tags=sorted(tags), m=minute,
    )  # fmt: skip
    places = _places(home, store.plant, plant_file, found)
    return tuple(
        ReadingFrom(
            tags[r["tag"]],
            r["tag"],
            r["time_utc"],
            r["value"],
            r["quality"],
            r["file_name"],
            r["archived_as"],
            *places.get((r["archived_as"], r["tag"], r["time_utc"]), (None, None)),
        )
        for r in found.to_dicts()
    )


def _places(home: Home, plant_id: str, plant_file: PlantFile, found: pl.DataFrame) -> dict[tuple[str, str, datetime], tuple[int, str]]:
    """Read the archived originals again and find the line of each reading (the last line that gives it)."""
    from pipelines import receive

    places: dict[tuple[str, str, datetime], tuple[int, str]] = {}
    for (archived_as,), wanted in found.group_by("archived_as", maintain_order=True):
        path = home.archive(plant_id) / str(archived_as)
        received = receive.open_file(path, str(wanted["file_name"][0]), plant_file)
        hits: list[pl.DataFrame] = [
            c.values.join(wanted.select("tag", "time_utc"), on=["tag", "time_utc"], how="semi") for c in received.chunks()
        ]
        lines = pl.concat(hits).group_by("tag", "time_utc").agg(pl.col("line_no").max())
        raw = receive.raw_lines(path, received.layout, lines["line_no"].to_list())
        for tag, at, line_no in lines.iter_rows():
            places[(str(archived_as), tag, at)] = (line_no, raw.get(line_no, ""))
    return places
