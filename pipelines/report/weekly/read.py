"""What a weekly page reads: a plant's week, all of it from the published file."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.plant.calendar import Calendar, wall_time
from pipelines.report.weekly import line_rows, queries
from pipelines.report.weekly.queries import has, rows
from pipelines.report.weekly.rows import WeekData
from pipelines.store import connect
from schemas.tables.plant_file_versions import IN_USE

if TYPE_CHECKING:
    import duckdb


def week(home: Home, plant: str, week_start_day: date | None, as_of: datetime | None = None) -> WeekData:
    """Read the reporting week that holds `week_start_day`; None: the one that had just ended at `as_of`, without that the last whole one.

    DataMissingError when there is no published file, nothing of the plant in it, or the data do not hold the week to its last day.
    """
    con = connect(home.published_of(plant), read_only=True)
    try:
        return _week(con, plant, week_start_day, as_of)
    finally:
        con.close()


def _week(con: duckdb.DuckDBPyConnection, plant: str, day: date | None, as_of: datetime | None) -> WeekData:
    lines = rows(con, "SELECT * FROM line_settings WHERE plant = $plant ORDER BY line", plant=plant)
    known = rows(con, "SELECT max(received_utc) AS known FROM loads WHERE plant = $plant", plant=plant)[0]["known"]
    ends = rows(con, "SELECT min(operating_day) AS first, max(operating_day) AS last FROM kpi_day WHERE plant = $plant", plant=plant)[0]
    last = ends["last"]
    if not lines or known is None or last is None:
        raise DataMissingError(
            f"nothing is published for {plant}", remedy="run `flocledger nightly` first; `flocledger status` shows what is there"
        )
    first_weekday, zone = lines[0]["week_start"], ZoneInfo(lines[0]["time_zone"])
    calendar = Calendar(zone, wall_time(lines[0]["operating_day_start_h"]))
    if day is None and as_of is not None:
        day = calendar.operating_day(as_of) - timedelta(days=7)
    start = _start(day, first_weekday) if day is not None else _last_whole(con, plant, last, first_weekday)
    if start + timedelta(days=6) > last or start + timedelta(days=6) < ends["first"]:
        raise DataMissingError(
            f"the data of {plant} do not hold the whole reporting week {iso_week(start)}, {start} to {start + timedelta(days=6)}: "
            f"they reach from {ends['first']} to {last}",
            remedy="see that the nightly exports arrive and run `flocledger nightly`; or name a week that is whole with --week",
        )
    span = {"plant": plant, "first": start, "last": start + timedelta(days=6)}
    prices = "SELECT max(from_utc) AS since FROM prices WHERE plant = $plant AND from_utc < $end"
    begin, end = calendar.day_start(start), calendar.day_start(start + timedelta(days=7))
    return WeekData(
        plant, lines[0]["plant_name"], zone, start, iso_week(start), begin, end, known, last,
        next((r["plant_file_id"] for r in rows(con, IN_USE, plant=plant)), "-"),
        rows(con, prices, plant=plant, end=end)[0]["since"],
        tuple(rows(con, queries.SET_ASIDE, **span, begin=begin, end=end)),
        tuple(line_rows.read(con, settings, span, begin, end) for settings in lines),
        tuple(rows(con, queries.COMPARISONS, plant=plant)) if has(con, "comparisons") else (),
        tuple(rows(con, queries.PLANT_FILES, plant=plant, begin=begin, end=end)),
        tuple(rows(con, queries.RUNNING, plant=plant, last=span["last"])) if has(con, "comparison_running") else (),
    )  # fmt: skip


def _start(day: date, first_weekday: int) -> date:
    return day - timedelta(days=(day.isoweekday() - first_weekday) % 7)


def _last_whole(con: duckdb.DuckDBPyConnection, plant: str, last_day: date, first_weekday: int) -> date:
    sql = "SELECT max(week_start_day) AS day FROM kpi_week WHERE plant = $plant AND week_start_day <= $latest AND isodow(week_start_day) = $first"
    found: date | None = rows(con, sql, plant=plant, latest=last_day - timedelta(days=6), first=first_weekday)[0]["day"]
    if found is None:
        raise DataMissingError(
            f"{plant} has no whole reporting week yet; its data end with {last_day}",
            remedy="wait for the week to end, or name the week to report",
        )
    return found


def iso_week(start: date) -> str:
    """Return the ISO 8601 week of the first Monday on or after `start`, as YYYY-Www: as `iso_week` of kpi_week names it."""
    monday = start + timedelta(days=(1 - start.isoweekday()) % 7)
    return f"{monday.isocalendar().year}-W{monday.isocalendar().week:02d}"
