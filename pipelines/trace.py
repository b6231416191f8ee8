"""From a published number, a lab result or a set-aside row back to minutes, readings, file and line, and what people changed on the way.

Sits beside `order`: it asks the published file and the store, and has `receive` read the archived original again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.base import resources
from pipelines.base.errors import DataMissingError, UsageError
from pipelines.base.home import Home
from pipelines.files.original import FileRefusedError
from pipelines.plant import limits, loader
from pipelines.plant.model import PlantFile
from pipelines.store import Store, connect
from schemas import TABLES
from schemas.roles import ROLES

# Which roles feed which column; the rest of a KPI row has all of the line's roles behind it.
_ROLES_OF: dict[str, tuple[str, ...]] = {
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
    "cake": (),  # lab results only
    "filtrate": (),
}
# KPI table -> the column beside plant and line that tells its rows of a day apart.
PERIODS = {"kpi_hour": "period_start_utc", "kpi_shift": "shift", "kpi_day": "", "kpi_week": "", "kpi_rolling": "window_name"}
_HELD = timedelta(
    days=limits.HELD_TS_DAYS
)  # feed samples so long before a day can stand behind it: held, or in the median held values relax to
_Row = dict[str, Any]


@dataclass(frozen=True)
class ReadingFrom:
    """One reading with the place it came from; `correction` is what counts instead, as a row of `corrections_applied`."""

    role: str
    tag: str
    time_utc: datetime
    value: float | None
    quality: int
    file_name: str
    archived_as: str
    line_no: int | None
    raw_text: str | None
    correction: _Row | None = None


@dataclass(frozen=True)
class Trace:
    """A published number and everything behind it."""

    table: str
    column: str
    value: Any
    unit: str
    meaning: str
    row: _Row
    formula: str
    minute_utc: datetime | None  # the minute shown; None when the number has no processing minute
    minute: _Row
    readings: tuple[ReadingFrom, ...]
    lab: pl.DataFrame  # results, with file_name and the raw line
    loads: pl.DataFrame
    valid_minutes: pl.DataFrame  # minute_utc and the columns concerned
    corrections: pl.DataFrame  # rows of corrections_applied behind the number


@dataclass(frozen=True)
class RowTrace:
    """A row of a file: what it says, what was set aside of it, what was decided, and what counts now."""

    load: _Row
    line_no: int
    raw_text: str | None
    set_aside: _Row | None
    values: pl.DataFrame  # subject, text, value, unit, reason of the values set aside whose place is known
    decisions: pl.DataFrame
    corrections: pl.DataFrame


@dataclass(frozen=True)
class ResultTrace:
    """A lab result: what counts, every version the lab reported with its raw line, and the corrections on the way."""

    result: _Row
    versions: pl.DataFrame
    corrections: pl.DataFrame
    decisions: pl.DataFrame


def run(
    home: Home,
    plant_id: str,
    line: str,
    day: date,
    column: str,
    *,
    minute: datetime | None = None,
    table: str = "kpi_day",
    part: str | datetime | None = None,
) -> Trace:
    """Trace one column of a KPI table; `minute` chooses the minute shown (default: the first processing minute).

    `part` tells the rows of a day apart: the hour's start (kpi_hour), the shift, or the window ("7 d"). `day` is the
    operating day; of kpi_week any day of the week. UsageError for an unknown table or column, DataMissingError when the
    row is not there.
    """
    described = _column(table, column)
    row = _published_row(home, plant_id, line, day, table, part)
    plant_file = loader.of_plant(home, plant_id)
    with Store(home.store(plant_id), plant_id, read_only=True) as store:
        minutes = _minutes(store, line, row, column)
        shown = minute or (minutes["minute_utc"][0] if minutes.height else None)
        first, last = _days(store, line, row)
        corrections = _corrections(store, line, row, column, first, last)
        one = store.frame("SELECT * FROM minutes WHERE line = $line AND minute_utc = $m", line=line, m=shown)
        return Trace(
            table=table,
            column=column,
            value=row[column],
            unit=described.unit,
            meaning=described.description,
            row=row,
            formula=_header(table),
            minute_utc=shown,
            minute=one.to_dicts()[0] if one.height else {},
            readings=() if shown is None else _readings(home, store, plant_file, line, shown, column),
            lab=_lab(home, store, plant_file, line, first, last),
            loads=_loads(store, first, last),
            valid_minutes=minutes,
            corrections=corrections,
        )


def of_row(home: Home, plant_id: str, file_name: str, line_no: int) -> RowTrace:
    """Trace a line of a file (its name as it came, or its load id): set aside or not, decided or not.

    DataMissingError when there is no such file.
    """
    plant_file = loader.of_plant(home, plant_id)
    with Store(home.store(plant_id), plant_id, read_only=True) as store:
        loads = store.frame("SELECT * FROM loads WHERE file_name = $f OR load_id = $f ORDER BY received_seq DESC LIMIT 1", f=file_name)
        if loads.height == 0:
            raise DataMissingError(
                f"no file {file_name} was taken in", remedy='`flocledger ask "FROM loads"` lists them; a load id does as well as a name'
            )
        load = loads.to_dicts()[0]
        where = {"load": load["load_id"], "line": line_no}
        at = "load_id = $load AND line_no = $line"
        set_aside = store.frame(f"SELECT * FROM set_aside WHERE {at}", **where)
        values = store.frame(
            f"SELECT tag AS subject, text, value, reason FROM set_aside_values WHERE {at} UNION ALL "
            f"SELECT subject, text, value, reason FROM set_aside_results WHERE {at} ORDER BY 1",
            **where,
        )
        raw = _raw_lines(home, plant_file, plant_id, load, [line_no])
        return RowTrace(
            load=load,
            line_no=line_no,
            raw_text=raw.get(line_no),
            set_aside=set_aside.to_dicts()[0] if set_aside.height else None,
            values=values,
            decisions=store.frame(f"SELECT * FROM dispositions WHERE {at} ORDER BY place", **where),
            corrections=store.frame(f"SELECT * FROM corrections_applied WHERE {at} ORDER BY time_utc, subject", **where),
        )


def of_result(home: Home, plant_id: str, sample_id: str, analyte: str) -> ResultTrace:
    """Trace a lab result by sample id and analyte; DataMissingError when there is none."""
    plant_file = loader.of_plant(home, plant_id)
    with Store(home.store(plant_id), plant_id, read_only=True) as store:
        named = {"s": sample_id, "a": analyte}
        found = store.frame("SELECT * FROM lab_results WHERE sample_id = $s AND analyte = $a", **named)
        if found.height == 0:
            raise DataMissingError(
                f"no result {analyte} of sample {sample_id}", remedy='`flocledger ask "FROM lab_results"` lists samples and analytes'
            )
        versions = store.frame("SELECT * FROM lab_results_history WHERE sample_id = $s AND analyte = $a ORDER BY revision", **named)
        result = found.to_dicts()[0]
        where = {"load": result["load_id"], "line": result["line_no"]}
        return ResultTrace(
            result=_with_raw(home, store, plant_file, found).to_dicts()[0],
            versions=_with_raw(home, store, plant_file, versions),
            corrections=store.frame(
                "SELECT * FROM corrections_applied WHERE kind = 'lab result' AND subject = $s AND analyte = $a", **named
            ),
            decisions=store.frame("SELECT * FROM dispositions WHERE load_id = $load AND line_no = $line ORDER BY place", **where),
        )


def roles_behind(column: str) -> tuple[str, ...]:
    """Return the roles that feed a KPI column; none for one that rests on lab results only."""
    return next((roles for start, roles in _ROLES_OF.items() if column.startswith(start)), tuple(ROLES))


def _column(table: str, column: str) -> Any:
    if table not in PERIODS:
        raise UsageError(f"there is no KPI table {table}", remedy=f"one of: {', '.join(PERIODS)}")
    if column not in TABLES[table].column_names:
        raise UsageError(
            f"{table} has no column {column}", remedy=f"`flocledger ask \"FROM dictionary WHERE table_name = '{table}'\"` lists them"
        )
    return next(c for c in TABLES[table].columns if c.name == column)


def _published_row(home: Home, plant_id: str, line: str, day: date, table: str, part: str | datetime | None) -> _Row:
    """Return the one row of a KPI table that is meant."""
    where = "plant = $plant AND line = $line AND "
    where += "week_start_day BETWEEN $day - 6 AND $day" if table == "kpi_week" else "operating_day = $day"
    named: dict[str, Any] = {"plant": plant_id, "line": line, "day": day}
    if PERIODS[table] and part is not None:
        where, named = f"{where} AND {PERIODS[table]} = $part", {**named, "part": part}
    con = connect(home.published_of(plant_id), read_only=True)
    try:
        rows = con.sql(f"SELECT * FROM {table} WHERE {where} ORDER BY period_start_utc", params=named).pl().to_dicts()
    finally:
        con.close()
    if not rows:
        raise DataMissingError(
            f"nothing is published for {plant_id} {line} on {day}" + (f", {part}" if part else ""),
            remedy="`flocledger status` shows which days there are",
        )
    if len(rows) > 1:
        told = ", ".join(_shown(r[PERIODS[table]]) for r in rows)
        raise UsageError(f"{table} has {len(rows)} rows of {line} on {day}", remedy=f"choose one: {told}")
    return dict(rows[0])


def _shown(part: Any) -> str:
    return f"{part:%Y-%m-%dT%H:%MZ}" if isinstance(part, datetime) else str(part)


def _header(table: str) -> str:
    text = (resources.folder("sql") / "tables" / f"{table}.sql").read_text(encoding="utf-8")
    return "\n".join(row for row in text.splitlines() if row.startswith("--"))


def _minutes(store: Store, line: str, row: Mapping[str, Any], column: str) -> pl.DataFrame:
    shown = ", ".join(["minute_utc", "state", *(ROLES[r].column for r in roles_behind(column))])
    return store.frame(
        f"SELECT {shown} FROM minutes WHERE line = $line AND minute_utc >= $a AND minute_utc < $b AND state = 'processing' ORDER BY minute_utc",
        line=line,
        a=row["period_start_utc"],
        b=row["period_end_utc"],
    )


def _days(store: Store, line: str, row: Mapping[str, Any]) -> tuple[date, date]:
    """Return the first and last operating day of a period."""
    first, last = store.rows(
        "SELECT min(operating_day), max(operating_day) FROM minutes WHERE line = $line AND minute_utc >= $a AND minute_utc < $b",
        {"line": line, "a": row["period_start_utc"], "b": row["period_end_utc"]},
    )[0]
    if first is None:
        raise DataMissingError(f"no minutes of {line} in the period", remedy="choose another period")
    return first, last


def _corrections(store: Store, line: str, row: Mapping[str, Any], column: str, first: date, last: date) -> pl.DataFrame:
    """Return what was corrected behind a number: readings of its roles within the period, lab results of the days shown."""
    return store.frame(
        "SELECT * FROM corrections_applied WHERE line = $line AND ((kind = 'reading' AND list_contains($roles, role) AND time_utc >= $a "
        "AND time_utc < $b) OR (kind = 'lab result' AND operating_day BETWEEN $held AND $last)) ORDER BY kind, time_utc, subject",
        line=line, roles=list(roles_behind(column)), a=row["period_start_utc"], b=row["period_end_utc"], held=first - _HELD, last=last,
    )  # fmt: skip


def _lab(home: Home, store: Store, plant_file: PlantFile, line: str, first: date, last: date) -> pl.DataFrame:
    """Return the lab results of the days, and the feed samples before them whose TS may be held."""
    found = store.frame(
        "SELECT * FROM lab_results WHERE line = $line AND (operating_day BETWEEN $a AND $b "
        "OR point = 'feed' AND operating_day BETWEEN $held AND $b "
        "OR time_basis = 'composite' AND operating_day > $b AND from_utc < (SELECT max(minute_utc) FROM minutes WHERE operating_day = $b)) "
        "ORDER BY from_utc, sample_id, analyte",
        line=line,
        held=first - _HELD,
        a=first,
        b=last,
    )
    return _with_raw(home, store, plant_file, found)


def _loads(store: Store, first: date, last: date) -> pl.DataFrame:
    return store.frame(
        "SELECT l.load_id, l.file_name, l.archived_as, l.received_utc, l.rows_read, l.rows_kept, l.rows_set_aside FROM loads l "
        "WHERE l.load_id IN (SELECT load_id FROM load_days WHERE operating_day BETWEEN $a AND $b) ORDER BY l.received_seq",
        a=first,
        b=last,
    )


def _with_raw(home: Home, store: Store, plant_file: PlantFile, results: pl.DataFrame) -> pl.DataFrame:
    """Add file_name, archived_as and raw_text, the line as it stands in the archived sheet."""
    loads = {row["load_id"]: row for row in store.frame("SELECT load_id, file_name, archived_as, layout FROM loads").to_dicts()}
    raw: dict[tuple[str, int], str] = {}
    for (load_id,), part in results.group_by("load_id", maintain_order=True):
        for number, text in _raw_lines(home, plant_file, store.plant, loads[load_id], part["line_no"].to_list()).items():
            raw[str(load_id), number] = text
    keys = list(zip(results["load_id"], results["line_no"], strict=True))
    return results.with_columns(
        pl.Series("file_name", [loads[k]["file_name"] for k, _ in keys], dtype=pl.String),
        pl.Series("archived_as", [loads[k]["archived_as"] for k, _ in keys], dtype=pl.String),
        pl.Series("raw_text", [raw.get(k) for k in keys], dtype=pl.String),
    )


def _raw_lines(home: Home, plant_file: PlantFile, plant_id: str, load: Mapping[str, Any], numbers: list[int]) -> dict[int, str]:
    from pipelines import receive

    ids = (load["layout"] or "").split(", ")  # several for a file of several tables: its lines are told apart as the first one says
    layout = next((x for x in plant_file.layouts if x.id == ids[0]), None)
    if layout is None:
        return {}
    try:
        return receive.raw_lines(home.archive(plant_id) / load["archived_as"], layout, [n for n in numbers if n > 0])
    except (FileRefusedError, OSError):  # gone from the archive, or broken there
        return {}


def _readings(home: Home, store: Store, plant_file: PlantFile, line: str, minute: datetime, column: str) -> tuple[ReadingFrom, ...]:
    """Return, per tag concerned, the last reading at or before the minute's start and those inside the minute."""
    roles = roles_behind(column)
    tags = {s.tag: s.role for s in plant_file.signals_of(line) if s.role in roles}
    found = store.frame(
        "SELECT r.tag, r.time_utc, r.value, r.quality, l.file_name, l.archived_as, l.layout FROM readings r JOIN loads l USING (load_id) "
        "WHERE r.tag IN (SELECT unnest($tags)) AND r.time_utc BETWEEN $m::TIMESTAMPTZ - INTERVAL 1 DAY AND $m::TIMESTAMPTZ + INTERVAL 59999999 MICROSECOND "
        "QUALIFY r.time_utc >= $m::TIMESTAMPTZ OR row_number() OVER (PARTITION BY r.tag, r.time_utc >= $m::TIMESTAMPTZ ORDER BY r.time_utc DESC) = 1 "
        "ORDER BY r.tag, r.time_utc",
        tags=sorted(tags), m=minute,
    )  # fmt: skip
    places = _places(home, store.plant, plant_file, found)
    corrected = store.frame(
        "SELECT * FROM corrections_applied WHERE kind = 'reading' AND subject IN (SELECT unnest($tags)) "
        "AND time_utc BETWEEN $m::TIMESTAMPTZ - INTERVAL 1 DAY AND $m::TIMESTAMPTZ + INTERVAL 59999999 MICROSECOND",
        tags=sorted(tags),
        m=minute,
    )
    instead = {(row["subject"], row["time_utc"]): row for row in corrected.to_dicts()}
    nowhere: tuple[int | None, str | None] = (None, None)
    out = []
    for r in found.to_dicts():
        line_no, raw_text = places.get((r["archived_as"], r["tag"], r["time_utc"]), nowhere)
        said = {name: r[name] for name in ("tag", "time_utc", "value", "quality", "file_name", "archived_as")}
        correction = instead.get((r["tag"], r["time_utc"]))
        out.append(ReadingFrom(role=tags[r["tag"]], line_no=line_no, raw_text=raw_text, correction=correction, **said))
    return tuple(out)


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
